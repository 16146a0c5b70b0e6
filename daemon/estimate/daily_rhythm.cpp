#include "fadeward/estimate/daily_rhythm.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace fadeward::estimate {

namespace {

constexpr double kKeepPerHour = 1 - 1.0 / (21 * 24);
constexpr double kSlowestHours = 60 * 24;
constexpr std::uint32_t kSolveEvery = 4;
constexpr std::uint32_t kFewestHours = 40;
constexpr double kRidge = 8;  // hours: neighbours are alike, so an hour is worth less than one
constexpr double kPriorSigmaDb = 0.8, kPriorCorrelation = 0.65;
constexpr double kPriorHours = 36, kLeastGain = 1.0 / (21 * 24);
constexpr double kMeanSize = 0.798 * 0.985;  // of a normal value in deviations, sizes cut at
constexpr double kMostSize = 2.5;            // so many of their mean
constexpr double kFarOff = 4;
constexpr double kLeastSigmaDb = 0.05;

}  // namespace

std::array<double, DailyRhythm::kTerms> DailyRhythm::terms(Time at) {
  constexpr std::int64_t kDayUs = 86'400'000'000;
  std::int64_t us = at.time_since_epoch().count() % kDayUs;
  if (us < 0) us += kDayUs;
  const double angle = 2 * std::numbers::pi * static_cast<double>(us) / static_cast<double>(kDayUs);
  const double c = std::cos(angle), s = std::sin(angle);
  return {1, c, s, c * c - s * s, 2 * c * s};
}

void DailyRhythm::shift(Duration step) {
  last_at_ += step;
  // terms(at + step) is terms(at) turned, once for 24 h and twice for 12 h; so is all that rests on
  // it.
  const auto turn = terms(Time{step});
  const auto turned = [&](const auto& get, const auto& set) {
    for (std::size_t i = 1; i < kTerms; i += 2) {
      const double c = get(i), s = get(i + 1);
      set(i, turn[i] * c - turn[i + 1] * s);
      set(i + 1, turn[i + 1] * c + turn[i] * s);
    }
  };
  const auto along = [&](float* first, std::size_t stride) {
    turned([&](std::size_t i) { return static_cast<double>(first[i * stride]); },
           [&](std::size_t i, double value) { first[i * stride] = static_cast<float>(value); });
  };
  along(harmonics_.data(), 1);
  along(right_.data(), 1);
  for (std::size_t i = 0; i < kTerms; ++i) along(&normal_[i * kTerms], 1);
  for (std::size_t i = 0; i < kTerms; ++i) along(&normal_[i], kTerms);
}

double DailyRhythm::daily_db(Time at) const {
  if (hours_ < kFewestHours) return 0;
  const auto t = terms(at);
  double sum = 0;
  for (std::size_t i = 1; i < kTerms; ++i) sum += t[i] * static_cast<double>(harmonics_[i]);
  return sum;
}

/// Of an hour's value, and its correlation with the next hour, from the sizes of differences.
void DailyRhythm::settle_sigma() {
  // E (x - x1)^2 = 2 s^2 (1 - r) and E (x - x8)^2 = 2 s^2 (1 - r^8): r from their ratio.
  const auto eighth = [](double r) {
    const double fourth = r * r * r * r;
    return fourth * fourth;
  };
  const double ratio = near_db_ * near_db_ / std::max(1e-9, far_db_ * far_db_);
  double low = 0, high = 0.95;
  for (int i = 0; i < 12; ++i) {
    const double r = (low + high) / 2;
    ((1 - r) / (1 - eighth(r)) > ratio ? low : high) = r;
  }
  correlation_ = low;
  const double apart = far_db_ / kMeanSize / std::sqrt(2.0);
  sigma_db_ = std::max(kLeastSigmaDb, apart / std::sqrt(1 - eighth(low)));
}

double DailyRhythm::mean_sigma_db(double hours) const {
  // An autoregressive sequence of first order, averaged over n values.
  const double r = correlation(), n = std::max(1.0, hours);
  const double inflation =
      (1 + r) / (1 - r) - 2 * r * (1 - std::pow(r, n)) / (n * (1 - r) * (1 - r));
  return hour_sigma_db() * std::sqrt(std::max(inflation, 0.1) / n);
}

void DailyRhythm::add(Time at, double value) {
  if (hours_ == 0) {
    near_db_ = kMeanSize * kPriorSigmaDb * std::sqrt(2 * (1 - kPriorCorrelation));
    far_db_ = kMeanSize * kPriorSigmaDb * std::sqrt(2 * (1 - std::pow(kPriorCorrelation, 8)));
  }
  // The hour's mean belongs to its middle.
  const Time middle = at - std::chrono::minutes{30};
  if (level_hours_ == 0) level_ = value - daily_db(middle);
  const double usual = level_ + daily_db(middle);
  const double limit = kFarOff * hour_sigma_db();
  const double off = std::clamp(value - usual, -limit, limit);
  ++hours_;
  ++level_hours_;
  level_ += off / std::min<double>(level_hours_, kSlowestHours);

  const double true_off = value - usual;
  if (hours_ > 9 && at - last_at_ < std::chrono::minutes{90}) {
    const double gain = std::max(kLeastGain, 1 / (hours_ + kPriorHours));
    const auto follow = [&](double& mean_db, std::size_t place) {
      const double size_db = std::abs(true_off - static_cast<double>(last_[place]));
      mean_db += gain * (std::min(size_db, kMostSize * mean_db) - mean_db);
      mean_db = std::max(mean_db, 0.01);
    };
    follow(near_db_, (hours_ - 1) % 8);
    follow(far_db_, hours_ % 8);
  }
  last_[hours_ % 8] = static_cast<float>(true_off);
  last_at_ = at;
  settle_sigma();
}

void DailyRhythm::learn(Time at, double value) {
  const Time middle = at - std::chrono::minutes{30};
  const double limit = kFarOff * sigma_db_;
  const double usual = level_ + daily_db(middle);
  const double y = std::clamp(value - usual, -limit, limit) + daily_db(middle);
  const auto t = terms(middle);
  for (std::size_t i = 0; i < kTerms; ++i) {
    for (std::size_t j = 0; j < kTerms; ++j) {
      float& cell = normal_[i * kTerms + j];
      cell = static_cast<float>(cell * kKeepPerHour + t[i] * t[j]);
    }
    right_[i] = static_cast<float>(right_[i] * kKeepPerHour + t[i] * y);
  }
  if (++since_solved_ >= kSolveEvery) solve();
}

/// Gaussian elimination with the pivot of the column; five unknowns.
void DailyRhythm::solve() {
  since_solved_ = 0;
  std::array<std::array<double, kTerms + 1>, kTerms> m{};
  for (std::size_t i = 0; i < kTerms; ++i) {
    for (std::size_t j = 0; j < kTerms; ++j) m[i][j] = static_cast<double>(normal_[i * kTerms + j]);
    m[i][kTerms] = static_cast<double>(right_[i]);
    m[i][i] += i == 0 ? 1e-6 : kRidge;
  }
  for (std::size_t i = 0; i < kTerms; ++i) {
    std::size_t pivot = i;
    for (std::size_t row = i + 1; row < kTerms; ++row)
      if (std::abs(m[row][i]) > std::abs(m[pivot][i])) pivot = row;
    std::swap(m[i], m[pivot]);
    for (std::size_t row = i + 1; row < kTerms; ++row) {
      const double factor = m[row][i] / m[i][i];
      for (std::size_t j = i; j <= kTerms; ++j) m[row][j] -= factor * m[i][j];
    }
  }
  for (std::size_t i = kTerms; i-- > 0;) {
    double sum = m[i][kTerms];
    for (std::size_t j = i + 1; j < kTerms; ++j)
      sum -= m[i][j] * static_cast<double>(harmonics_[j]);
    harmonics_[i] = static_cast<float>(sum / m[i][i]);
  }
}

}  // namespace fadeward::estimate
