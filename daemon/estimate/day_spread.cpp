#include "fadeward/estimate/day_spread.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace fadeward::estimate {

namespace {

constexpr double kPriorHours = 48, kSlowestHours = 21 * 24;
// In standard deviations. Showers fill a quarter of a day, so that it is cut closer.
constexpr double kMostOfQuarter = 2, kMostOfDay = 2.8;
// Mean size of a normal deviation over its standard deviation: sqrt(2 / pi).
const double kMeanSize = std::sqrt(2 * std::numbers::inv_pi);
constexpr double kMostCorrelation = 0.9;

/// Variance of the mean of the four quarters of a day, quarters of variance 1.
double day_of(double r) { return (1 + 1.5 * r + r * r + 0.5 * r * r * r) / 4; }

/// Covariance of the means of two days in a row, quarters of variance 1.
double days_covariance(double r) {
  return r * (1 + r * (2 + r * (3 + r * (4 + r * (3 + r * (2 + r)))))) / 16;
}

}  // namespace

DaySpread::DaySpread(double day_sigma_db, double quarter_correlation)
    : size_db_(kMeanSize * day_sigma_db / std::sqrt(day_of(quarter_correlation))),
      square_(day_sigma_db * day_sigma_db / day_of(quarter_correlation)),
      product_(square_ * quarter_correlation),
      off_db_(kMeanSize * day_sigma_db),
      step_db_(kMeanSize * day_sigma_db * std::numbers::sqrt2) {}

void DaySpread::add_quarters(double off_db, double before_db) {
  const double gain = 1 / std::min(kSlowestHours, kPriorHours + hours_);
  const double limit = kMostOfQuarter * size_db_ / kMeanSize;
  const double off = std::clamp(off_db, -limit, limit);
  const double before = std::clamp(before_db, -limit, limit);
  size_db_ += gain * (std::abs(off) - size_db_);
  square_ += gain * (off * off - square_);
  product_ += gain * (off * before - product_);
}

void DaySpread::add_day(double off_db) {
  const double size = std::min(std::abs(off_db), kMostOfDay / kMeanSize * off_db_);
  off_db_ += (size - off_db_) / std::min(kSlowestHours, kPriorHours + hours_);
  ++hours_;
}

void DaySpread::add_step(double step_db) {
  const double size = std::min(std::abs(step_db), kMostOfDay / kMeanSize * step_db_);
  step_db_ += (size - step_db_) / std::min(kSlowestHours, kPriorHours + hours_);
}

void DaySpread::add_return(double size_db) {
  constexpr double kShare = 0.25;
  const double size = std::abs(size_db);
  off_db_ += kShare * std::max(0.0, size - off_db_);
  size_db_ += kShare * std::max(0.0, size - size_db_);
}

double DaySpread::quarter_correlation() const {
  return std::clamp(product_ / square_, 0.0, kMostCorrelation);
}

double DaySpread::day_of_quarters_db() const {
  return size_db_ / kMeanSize * std::sqrt(day_of(quarter_correlation()));
}

double DaySpread::day_of_days_db() const {
  return std::sqrt((off_db_ * off_db_ + step_db_ * step_db_ / 2) / 2) / kMeanSize;
}

double DaySpread::weight_of_days() const { return std::min(60.0, 2 + hours_ / 24.0); }
double DaySpread::weight_of_quarters() const { return std::min(40.0, 6 + hours_ / 8.0); }

double DaySpread::freedom() const { return weight_of_days() + weight_of_quarters(); }

double DaySpread::sigma_db(double days) const {
  const double few = weight_of_days(), many = weight_of_quarters();
  const double day_db = std::exp(
      (few * std::log(day_of_days_db()) + many * std::log(day_of_quarters_db())) / (few + many));
  const double r = quarter_correlation();
  const double neighbours = days_covariance(r) / day_of(r);
  return day_db * std::sqrt((1 + 2 * neighbours * (1 - 1 / days)) / days);
}

}  // namespace fadeward::estimate
