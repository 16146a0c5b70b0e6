#include "fadeward/estimate/interval_learner.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::estimate {

namespace {
constexpr std::uint32_t kFewest = 8;
constexpr double kFirstShare = 0.25, kLastShare = 0.005;
}  // namespace

void IntervalLearner::add(Duration span) {
  if (span <= Duration{}) return;
  const auto span_us = static_cast<double>(span.count());
  if (spans_ < UINT32_MAX) ++spans_;
  longest_ = std::max(longest_, span);
  observed_ += span;
  if (spans_ == 1) {
    estimate_us_ = span_us;
    return;
  }
  const double share = spans_ < 4 * kFirstShare / kLastShare ? 4 * kFirstShare / spans_ : kLastShare;
  const double difference = span_us - estimate_us_;
  const double step = std::min(share * estimate_us_, std::abs(difference));
  estimate_us_ += difference > 0 ? step : -step;
  if (spans_ >= kFewest) interval_ = Duration{static_cast<Duration::rep>(estimate_us_)};
}

}  // namespace fadeward::estimate
