// How long a push target is left alone after it failed.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>

#include "fadeward/base/time.hpp"

namespace fadeward::publish {

/// Doubles from `first` to `longest`; each wait is stretched by up to a quarter, differently for
/// each seed, so that many gateways do not come back to a server in the same second. What the
/// server asks for (Retry-After) is kept where it is longer.
class PushBackoff {
 public:
  PushBackoff(Duration first, Duration longest, std::uint32_t seed)
      : first_(first), longest_(longest), next_(first), random_(seed | 1U) {}

  Duration failed(std::optional<Duration> asked_for = {}) {
    random_ = random_ * 1664525U + 1013904223U;  // a linear congruence is random enough
    const Duration wait = next_ + next_ * (random_ >> 24) / 1024;
    next_ = std::min(2 * next_, longest_);
    return asked_for ? std::max(wait, *asked_for) : wait;
  }
  void succeeded() { next_ = first_; }

 private:
  Duration first_;
  Duration longest_;
  Duration next_;
  std::uint32_t random_;
};

}  // namespace fadeward::publish
