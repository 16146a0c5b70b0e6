// How far people have to stay from an antenna: limits for the general public, full duty.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace fadeward::budget {

enum class ExposureLimit : std::uint8_t {
  stricter,   ///< the lower of the two below at the frequency: the default
  icnirp,     ///< ICNIRP 1998 and 2020, general public, whole body: f/200 W/m2, 400 to 2000 MHz
  us_1_1310,  ///< 47 CFR 1.1310 Table 1 (B), general population: f/150 W/m2, 300 to 1500 MHz
};

/// Within about a wavelength the far-field formula says nothing: no distance below this is given.
inline constexpr double kSmallestExposureDistanceM = 0.2;

/// Permitted power density, W/m2. Below the range of each limit 2 W/m2, above it 10 W/m2, as in its
/// neighbouring rows. Empty outside 30 MHz to 100 GHz.
std::optional<double> exposure_limit_w_per_m2(double frequency_hz,
                                              ExposureLimit limit = ExposureLimit::stricter);

/// Far field, S = e.i.r.p. / (4 pi R^2): the distance at which S meets the limit, m, and never less
/// than 0.2 m. Empty where the limit is.
std::optional<double> exposure_distance_m(double eirp_dbm, double frequency_hz,
                                          ExposureLimit limit = ExposureLimit::stricter);

/// "ICNIRP general public" and the like, for the printed budget.
std::string_view name_of(ExposureLimit limit);

}  // namespace fadeward::budget
