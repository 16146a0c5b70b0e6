// What air and rain take from a path: little in the bands of these radios, and worth knowing that.
#pragma once

#include <optional>

namespace fadeward::budget {

/// State of the air near the ground; the default is the mean annual reference atmosphere.
struct Air {
  double pressure_hpa = 1013.25;  ///< of the dry air
  double temperature_k = 288.15;
  double vapour_g_per_m3 = 7.5;
};

/// Specific attenuation by oxygen and by water vapour, dB/km.
struct GasLoss {
  double oxygen_db_per_km = 0;
  double vapour_db_per_km = 0;
  double total_db_per_km() const { return oxygen_db_per_km + vapour_db_per_km; }
};

/// Recommendation ITU-R P.676-13 Annex 1: sums of spectral lines. Made for 1 to 1000 GHz; above,
/// and below 0: empty. Below 1 GHz the value at 1 GHz, which is a bound: gas takes less there.
std::optional<GasLoss> gas_loss(double frequency_hz, const Air& air = {});

/// Tilt of the polarisation against the horizontal.
inline constexpr double kHorizontalTiltDeg = 0;
inline constexpr double kVerticalTiltDeg = 90;

/// Recommendation ITU-R P.838-3: specific attenuation by rain, k rate^alpha in dB/km, rate in mm/h.
struct RainCoefficients {
  double k = 0;
  double alpha = 0;
};
/// For a path that rises by `elevation_deg`. Made for 1 to 1000 GHz, else empty.
std::optional<RainCoefficients> rain_coefficients(double frequency_hz, double tilt_deg,
                                                  double elevation_deg = 0);

/// Rain of `rate_mm_per_h` >= 0 on a path along the ground, dB/km. Empty above 1000 GHz and not
/// above 0. Below 1 GHz the value at 1 GHz, which is a bound.
std::optional<double> rain_loss_db_per_km(double frequency_hz, double rate_mm_per_h,
                                          double tilt_deg = kHorizontalTiltDeg);

}  // namespace fadeward::budget
