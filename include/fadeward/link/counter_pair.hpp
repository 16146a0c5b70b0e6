// Frames sent by one end against frames heard by the other: losses from two counters.
#pragma once

#include <array>
#include <cstdint>

#include "fadeward/link/counter.hpp"

namespace fadeward::link {

struct PairStep {
  std::uint32_t heard = 0;
  std::uint32_t lost = 0;
};

/// The two counters are read at slightly different moments, so their difference swings by the
/// frames under way. A loss is believed once the difference has stayed for eight readings.
class CounterPair {
 public:
  /// `sent` and `heard`: how much each counter grew since the reading before.
  PairStep take(const CounterStep& sent, const CounterStep& heard);
  /// Whether both counters have been seen growing.
  bool active() const { return active_; }
  /// What is outstanding now means nothing any more (restart, unknown gap).
  void forget();

  template <class A>
  void archive(A& a) {
    a(difference_, recent_, filled_, next_, active_);
    if constexpr (A::kReading) next_ %= kReadings;
  }

 private:
  static constexpr std::size_t kReadings = 8;
  double difference_ = 0;                        ///< sent - heard - believed lost
  std::array<double, kReadings> recent_{};
  std::uint8_t filled_ = 0;
  std::uint8_t next_ = 0;
  bool active_ = false;
};

}  // namespace fadeward::link
