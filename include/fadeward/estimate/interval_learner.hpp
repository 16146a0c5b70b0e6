// The usual time between frames, learned.
#pragma once

#include <cstdint>
#include <optional>

#include "fadeward/base/time.hpp"

namespace fadeward::estimate {

/// A running median: each span pulls the estimate a fixed share up or down, a large share at first
/// and a small one later, so that a few long gaps do not move it.
class IntervalLearner {
 public:
  void add(Duration span);
  /// Empty before the eighth span.
  std::optional<Duration> interval() const { return interval_; }
  /// Time that the spans cover together: an interval seen over seconds only may be a burst.
  Duration observed() const { return observed_; }
  std::uint32_t spans() const { return spans_; }
  /// The longest of the first spans, while `interval` is not known yet.
  Duration longest() const { return longest_; }

  template <class A>
  void archive(A& a) {
    a(spans_, estimate_us_, longest_, observed_, interval_);
  }

 private:
  std::uint32_t spans_ = 0;
  double estimate_us_ = 0;
  Duration longest_{};
  Duration observed_{};
  std::optional<Duration> interval_;
};

}  // namespace fadeward::estimate
