// The program's clock: both clocks of the machine, or a faster one for demonstrations.
#pragma once

#include <string>

#include "fadeward/base/time.hpp"

namespace fadeward::app {

/// With factor 1 it reads the machine's clocks. Any other factor makes the program's time run that
/// many times faster from `start`, which is only good for showing what happens over days.
class Clock {
 public:
  Clock() = default;
  Clock(double factor, Time start);

  Instant now() const;
  /// The name of this boot of the machine, for as long as the steady clock goes on; empty: not
  /// known, and with any factor but 1.
  std::string boot() const;
  double factor() const { return factor_; }
  /// How long to wait on the machine for a span of the program's time, at least 10 ms.
  Duration real(Duration span) const;

 private:
  double factor_ = 1;
  Time start_{};
  Duration origin_{};
};

}  // namespace fadeward::app
