#include "fadeward/estimate/shift.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <initializer_list>
#include <numbers>

#include "fadeward/estimate/median.hpp"

namespace fadeward::estimate {

namespace {

constexpr std::size_t kMostDays = 300;  ///< a side; 90,000 differences
constexpr std::size_t kMostLags = 60;
constexpr double kMostCorrelation = 0.93;
constexpr double kWildest = 3;  ///< deviations; rain must not hide the memory of the rest

/// What is left about the median, wild values pulled in, their mean removed.
std::vector<double> residuals_of(const DailyValues& side) {
  std::vector<double> out(side.values), sizes(side.values);
  const double middle = median_of(sizes);
  sizes.clear();
  for (double& value : out) {
    value -= middle;
    sizes.push_back(std::abs(value));
  }
  const double most = kWildest * 1.4826 * median_of(sizes);
  double sum = 0;
  for (double& value : out) {
    if (most > 0) value = std::clamp(value, -most, most);
    sum += value;
  }
  for (double& value : out) value -= sum / static_cast<double>(out.size());
  return out;
}

struct Lag {
  double products = 0;
  double pairs = 0;
};

void collect_lags(const DailyValues& side, std::vector<Lag>& lags) {
  const auto left = residuals_of(side);
  for (std::size_t i = 0; i < left.size(); ++i)
    for (std::size_t j = i; j < left.size(); ++j) {
      const auto lag = static_cast<std::size_t>(side.days[j] - side.days[i]);
      if (lag >= lags.size()) break;
      lags[lag].products += left[i] * left[j];
      lags[lag].pairs += 1;
    }
}

/// Variance of a mean over that of independent values.
double memory_of(std::initializer_list<const DailyValues*> sides) {
  std::vector<Lag> lags(kMostLags);
  for (const DailyValues* side : sides) collect_lags(*side, lags);
  if (!(lags[0].products > 0)) return 1;
  const double variance = lags[0].products / lags[0].pairs;
  const double n = lags[0].pairs;
  const auto correlation = [&](std::size_t k) {
    return lags[k].pairs > 3 ? lags[k].products / lags[k].pairs / variance : 0;
  };
  double sum = 0;
  for (std::size_t k = 1; k < lags.size(); ++k) {
    const double r = correlation(k);
    if (!(r > 1.96 / std::sqrt(n))) break;
    sum += (1 - static_cast<double>(k) / n) * r;
  }
  const double first = correlation(1);
  // Each side lost a mean of its own: the bias is that of half as many.
  const double freed =
      lags[1].pairs > 3 ? std::min(kMostCorrelation,
                                   first + (1 + 3 * first) * static_cast<double>(sides.size()) / n)
                        : 0;
  const double simple = freed > 0 ? (1 + freed) / (1 - freed) : 1;
  return std::max({1.0, 1 + 2 * sum, simple});
}

std::vector<double> thinned(const std::vector<double>& values, std::size_t step) {
  std::vector<double> out;
  for (std::size_t i = 0; i < values.size(); i += step) out.push_back(values[i]);
  return out;
}

double at_rank(std::vector<double>& values, double rank) {
  const auto whole = static_cast<std::ptrdiff_t>(
      std::clamp(std::round(rank), 1.0, static_cast<double>(values.size())));
  std::nth_element(values.begin(), values.begin() + whole - 1, values.end());
  return values[static_cast<std::size_t>(whole - 1)];
}

}  // namespace

std::optional<Shift> find_shift(const DailyValues& before, const DailyValues& after,
                                double confidence) {
  if (before.size() < kLeastShiftDays || after.size() < kLeastShiftDays ||
      before.days.size() != before.size() || after.days.size() != after.size())
    return {};
  Shift out;
  out.before = before.size();
  out.after = after.size();
  out.memory = memory_of({&before, &after});
  const std::size_t step =
      std::max<std::size_t>(1, (std::max(out.before, out.after) + kMostDays - 1) / kMostDays);
  const auto first = thinned(before.values, step), second = thinned(after.values, step);
  const auto n = static_cast<double>(first.size()), m = static_cast<double>(second.size());
  std::vector<double> differences;
  differences.reserve(first.size() * second.size());
  double above = 0;
  for (const double a : first)
    for (const double b : second) {
      differences.push_back(b - a);
      above += b > a ? 1 : b == a ? 0.5 : 0;
    }
  const double inflation = std::max(1.0, out.memory / static_cast<double>(step));
  const double deviation = std::sqrt(n * m * (n + m + 1) / 12 * inflation);
  const double z =
      boost::math::quantile(boost::math::normal{}, 0.5 + std::clamp(confidence, 0.0, 0.999999) / 2);
  out.difference = median_of(differences);
  out.low = at_rank(differences, n * m / 2 - z * deviation);
  out.high = at_rank(differences, n * m / 2 + z * deviation + 1);
  const double away = std::max(0.0, std::abs(above - n * m / 2) - 0.5) / deviation;
  out.p = std::erfc(away / std::numbers::sqrt2);
  return out;
}

std::optional<Shift> find_paired_shift(const DailyValues& differences, double confidence) {
  if (differences.size() < kLeastShiftDays || differences.days.size() != differences.size())
    return {};
  Shift out;
  out.before = out.after = differences.size();
  out.memory = memory_of({&differences});
  const std::size_t step = (out.before + kMostDays - 1) / kMostDays;
  const auto kept = thinned(differences.values, step);
  const auto n = static_cast<double>(kept.size());
  std::vector<double> averages;
  double above = 0;
  for (std::size_t i = 0; i < kept.size(); ++i)
    for (std::size_t j = i; j < kept.size(); ++j) {
      averages.push_back((kept[i] + kept[j]) / 2);
      above += averages.back() > 0 ? 1 : averages.back() == 0 ? 0.5 : 0;
    }
  const double inflation = std::max(1.0, out.memory / static_cast<double>(step));
  const double middle = n * (n + 1) / 4;
  const double deviation = std::sqrt(n * (n + 1) * (2 * n + 1) / 24 * inflation);
  const double z =
      boost::math::quantile(boost::math::normal{}, 0.5 + std::clamp(confidence, 0.0, 0.999999) / 2);
  out.difference = median_of(averages);
  out.low = at_rank(averages, middle - z * deviation);
  out.high = at_rank(averages, middle + z * deviation + 1);
  const double away = std::max(0.0, std::abs(above - middle) - 0.5) / deviation;
  out.p = std::erfc(away / std::numbers::sqrt2);
  return out;
}

}  // namespace fadeward::estimate
