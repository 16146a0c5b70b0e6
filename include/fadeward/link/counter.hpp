// A counter of the radio: how much it grew, through wraps and restarts.
#pragma once

#include <cstdint>
#include <optional>

namespace fadeward::link {

struct CounterStep {
  double grown = 0;        ///< since the value before; 0 at the first value and at a restart
  bool known = false;      ///< `grown` can be believed
  bool restarted = false;  ///< it went down without a wrap
};

/// Width of the wrap configured, or recognised: a value in the last sixteenth of 8, 16 or 32 bits
/// followed by one in the first sixteenth is a wrap, any other decrease a restart.
class CounterTracker {
 public:
  /// `bits`: configured width, 0 = recognise.
  CounterStep take(double value, int bits);
  void forget() { known_ = false; }
  bool known() const { return known_; }

  template <class A>
  void archive(A& a) {
    a(known_, last_);
  }

 private:
  bool known_ = false;
  double last_ = 0;
};

}  // namespace fadeward::link
