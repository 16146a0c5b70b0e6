#include "fadeward/link/counter_pair.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

void CounterPair::forget() {
  difference_ = 0;
  filled_ = next_ = 0;
}

PairStep CounterPair::take(const CounterStep& sent, const CounterStep& heard) {
  if (sent.restarted || heard.restarted) {
    forget();
    return {};
  }
  if (!sent.known || !heard.known) return {};
  if (sent.grown > 0) active_ = true;
  difference_ += sent.grown - heard.grown;
  recent_[next_] = difference_;
  next_ = static_cast<std::uint8_t>((next_ + 1) % kReadings);
  if (filled_ < kReadings) ++filled_;
  PairStep step;
  step.heard = static_cast<std::uint32_t>(std::min(heard.grown, 1e9));
  if (filled_ < kReadings) return step;
  const double settled = *std::min_element(recent_.begin(), recent_.end());
  if (settled < 1 || settled > 1e9) return step;
  const double lost = std::floor(settled);
  step.lost = static_cast<std::uint32_t>(lost);
  difference_ -= lost;
  for (double& value : recent_) value -= lost;
  return step;
}

}  // namespace fadeward::link
