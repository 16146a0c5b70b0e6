// Rain over a whole valley: every link loses something for hours, and gets it back.
#pragma once

#include <cstddef>
#include <vector>

#include "fadeward/base/time.hpp"
#include "fadeward/simulate/random.hpp"

namespace fadeward::simulate {

struct Shower {
  Time from{};
  Time to{};           ///< first moment without loss
  double peak_db = 0;  ///< loss in the middle of it, both directions alike
};

struct Climate {
  Duration between = std::chrono::hours(4 * 24);  ///< mean time from one rain to the next
  double lowest_peak_db = 0.8;
  double highest_peak_db = 2.8;
  double snow_share = 0;  ///< of the showers of December to February that are wet snow
};

/// Showers of 2 to 9 hours in order of time, snow of 12 to 48 hours, none overlapping. `between` of
/// zero: no rain.
std::vector<Shower> make_showers(const Climate& climate, Time start, Duration length,
                                 Random random);

/// Loss by rain over time: rises and falls within half an hour.
class Weather {
 public:
  Weather() = default;
  explicit Weather(std::vector<Shower> showers) : showers_(std::move(showers)) {}

  /// Loss in dB at `time`, 0 when dry. Calls go forward in time; a call that goes back sees no
  /// shower that has ended before.
  double loss_db(Time time);

 private:
  std::vector<Shower> showers_;
  std::size_t next_ = 0;
};

}  // namespace fadeward::simulate
