// What a link could still add to its margin: unused power and slower rates, as it was over time.
#pragma once

#include <cstdint>
#include <optional>

#include "fadeward/base/ring.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/link/frame_window.hpp"

namespace fadeward::judge {

/// Power control and rate adaptation move the margin one way and what is left of them the other.
/// The margin is a median over an hour or a day: what is added to it must be of the same frames, or
/// each change of power or rate would show as a jump until the hour has passed.
class Reserve {
 public:
  /// What could be added to a frame of `now`, dB. Remembers the last 512 changes; a time before the
  /// last change is ignored.
  void note(Time now, double unused_db);
  /// By how much the median margin of the frames in the window rises when each gets what could be
  /// added to it, dB. Empty before the first `note`.
  std::optional<double> gain_db(const link::FrameWindow& window, Time now) const;
  /// Median over the time from `from` to `now`, dB; of as much of it as is remembered. Empty before
  /// the first `note`.
  std::optional<double> median_db(Time from, Time now) const;
  /// Other limits hold from now on.
  void forget() { changes_.clear(); }
  void shift(Duration step);

  template <class A>
  void archive(A& a) {
    a(changes_);
    if constexpr (A::kReading)
      if (changes_.size() > kMost) a.fail();
  }

 private:
  static constexpr std::size_t kMost = 512;
  struct Change {
    Time since{};
    float unused_db = 0;
    template <class A>
    void archive(A& a) {
      a(since, unused_db);
    }
  };
  double at_db(Time at) const;

  Ring<Change> changes_;
};

}  // namespace fadeward::judge
