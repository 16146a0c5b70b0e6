// Two counts (hits and misses) over the last 5 minutes, hour and day.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "fadeward/base/time.hpp"

namespace fadeward::estimate {

/// Minute and hour buckets. The windows of 5 min and 1 h hold the minute under way and 5 or 60 whole
/// ones, so they are exact at whole minutes; that of 24 h holds the hour under way and 23 whole ones.
/// Times may come a little out of order: a bucket that is still there takes them, older ones are
/// dropped.
class RollingCounts {
 public:
  struct Counts {
    std::uint32_t hits = 0;
    std::uint32_t misses = 0;
    template <class A>
    void archive(A& a) {
      a(hits, misses);
    }
  };
  enum class Window : std::uint8_t { five_minutes, hour, day };

  void add(Time at, std::uint32_t hits, std::uint32_t misses) {
    const std::int64_t minute = minute_of(at);
    if (minute == minute_) [[likely]] {
      pending_.hits += hits;
      pending_.misses += misses;
      return;
    }
    add_elsewhere(minute, hits, misses);
  }
  /// Spreads misses evenly over (from, to].
  void add_misses_between(Time from, Time to, std::uint32_t misses);

  /// One miss fewer, in the newest bucket at or before `at` that has one.
  void take_back_miss(Time at);

  [[gnu::always_inline]] void prefetch() const { __builtin_prefetch(&minute_, 1); }
  Counts sum(Window window, Time now);
  /// Moves the clock of the buckets by a step of the wall clock.
  void shift(Duration step);

  template <class A>
  void archive(A& a) {
    book_pending();
    a(minute_, minutes_, hours_, hour_sum_);
    if constexpr (A::kReading) settle();
  }

 private:
  static constexpr int kMinutes = 61;   ///< an hour of whole minutes and the one under way

  static std::int64_t minute_of(Time at) {
    const std::int64_t micros = at.time_since_epoch().count();
    return micros >= 0 ? micros / 60000000 : -((59999999 - micros) / 60000000);
  }
  void add_elsewhere(std::int64_t minute, std::uint32_t hits, std::uint32_t misses);
  void advance(std::int64_t minute);
  void settle();
  void book_pending() {
    if (pending_.hits == 0 && pending_.misses == 0) return;
    for (Counts* each : {&minutes_[static_cast<std::size_t>(slot_)],
                         &hours_[static_cast<std::size_t>(hour_slot_)], &hour_sum_}) {
      each->hits += pending_.hits;
      each->misses += pending_.misses;
    }
    pending_ = {};
  }

  std::int64_t minute_ = INT64_MIN / 2;   ///< the newest minute; its buckets are at slot_ and hour_slot_
  std::int32_t slot_ = 0;
  std::int32_t hour_slot_ = 0;
  Counts pending_;                        ///< of the newest minute, in none of the others yet
  Counts hour_sum_;                       ///< of minutes_
  std::array<Counts, kMinutes> minutes_{};
  std::array<Counts, 25> hours_{};
};

}  // namespace fadeward::estimate
