// A level that wanders: shadowing of a path, man-made noise of a site.
#pragma once

#include "fadeward/base/time.hpp"
#include "fadeward/simulate/random.hpp"

namespace fadeward::simulate {

/// Stationary Gauss-Markov process: mean 0, standard deviation `sd_db`, autocorrelation
/// exp(-|lag| / time_constant). Exact at multiples of `kGrid` from the start, linear in between, so
/// its values do not depend on how often it is asked.
class GaussMarkov {
 public:
  static constexpr Duration kGrid = std::chrono::minutes(1);

  /// time_constant > 0. The first value is drawn from the stationary distribution.
  GaussMarkov(double sd_db, Duration time_constant, Time start, Random random);

  /// Value at `time` in dB. Time never goes back behind the grid point before the last call; a
  /// time before the start gives the first value.
  double at(Time time);

 private:
  void step();

  Random random_;
  double keep_;        // correlation over one grid step
  double innovation_;  // standard deviation of what each step adds
  Time from_;
  double value_;  // at from_
  double next_;   // at from_ + kGrid
};

}  // namespace fadeward::simulate
