// Loss between two isotropic antennas in free space (Recommendation ITU-R P.525), exact form.
//
// Printed practical constants (32.4, 32.44, 32.45 for MHz and km) differ from this by up to 0.05
// dB.
#pragma once

namespace fadeward::budget {

inline constexpr double kSpeedOfLightMps = 299'792'458.0;  ///< SI, exact

/// frequency_hz > 0.
inline double wavelength_m(double frequency_hz) { return kSpeedOfLightMps / frequency_hz; }

/// 20 lg(4 pi d / lambda), dB. Both arguments finite and above 0. Within lambda / (4 pi) of the
/// antenna, where the formula would give a gain, 0.
double free_space_loss_db(double frequency_hz, double distance_m);

}  // namespace fadeward::budget
