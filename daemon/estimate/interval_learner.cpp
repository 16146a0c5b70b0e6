#include "fadeward/estimate/interval_learner.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::estimate {

namespace {
constexpr std::uint32_t kFewest = 8;
constexpr double kFirstShare = 0.25, kLastShare = 0.005;
}  // namespace

void IntervalLearner::add(Duration span) {
  const double span_s = duration_to_seconds(span);
  if (span_s <= 0) return;
  if (spans_ < UINT32_MAX) ++spans_;
  longest_ = std::max(longest_, span);
  if (spans_ == 1) {
    estimate_s_ = span_s;
    return;
  }
  const double share = std::max(kLastShare, kFirstShare / spans_ * 4);
  const double difference = span_s - estimate_s_;
  const double step = std::min(share * estimate_s_, std::abs(difference));
  estimate_s_ += difference > 0 ? step : -step;
}

std::optional<Duration> IntervalLearner::interval() const {
  if (spans_ < kFewest) return {};
  return seconds_to_duration(estimate_s_);
}

}  // namespace fadeward::estimate
