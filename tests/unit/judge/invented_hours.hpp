// Hours of an invented link for tests: four streams that wander, and what is added to them.
#pragma once

#include <cmath>
#include <functional>
#include <random>

#include "fadeward/judge/hour_book.hpp"

namespace fadeward::test {

inline constexpr Time kFirstHour{std::chrono::seconds{1'893'456'000}};

/// Hourly means of first-order processes: 0.72 dB with a correlation time of 3 h for the common
/// signal, what is usual for the others.
class InventedHours {
 public:
  explicit InventedHours(unsigned seed) : random_(seed) {}
  using Added = std::function<double(std::size_t stream, double hour)>;
  Added added = [](std::size_t, double) { return 0.0; };
  double count = 0;

  judge::HourBook::Hour next() {
    constexpr double kSigma[judge::kStreams] = {0.72, 0.1, 0.35, 0.35};
    const double kept = std::exp(-1.0 / 3);
    judge::HourBook::Hour hour;
    hour.end = kFirstHour + std::chrono::hours{static_cast<int>(count) + 1};
    for (std::size_t i = 0; i < judge::kStreams; ++i) {
      x_[i] = kept * x_[i] + kSigma[i] * std::sqrt(1 - kept * kept) * normal_(random_);
      const double db = -60 + x_[i] + added(i, count);
      hour.raw_cdb[i] = hour.value_cdb[i] = static_cast<std::int16_t>(std::lround(100 * db));
      hour.known = static_cast<std::uint8_t>(hour.known | 1U << i);
    }
    count += 1;
    return hour;
  }
  void fill(judge::HourBook& book, int hours) {
    for (int h = 0; h < hours; ++h) {
      book.push(next());
      book.learn();
    }
  }

 private:
  std::mt19937 random_;
  std::normal_distribution<double> normal_;
  double x_[judge::kStreams] = {};
};

}  // namespace fadeward::test
