// Arithmetic on decibels, and the noise a receiver cannot avoid.
#pragma once

#include <cmath>

namespace fadeward {

inline double ratio_from_db(double db) { return std::pow(10.0, db * 0.1); }
inline double db_from_ratio(double ratio) { return 10.0 * std::log10(ratio); }

/// Power sum of two levels in dBm.
inline double add_dbm(double a_dbm, double b_dbm) {
  const double high = a_dbm > b_dbm ? a_dbm : b_dbm;
  const double low = a_dbm > b_dbm ? b_dbm : a_dbm;
  return high + db_from_ratio(1.0 + ratio_from_db(low - high));
}

/// k * 290 K in dBm per hertz: k = 1.380649e-23 J/K (SI, exact).
inline constexpr double kThermalDbmPerHz = -173.97518719;

/// Thermal noise in a bandwidth plus the receiver's noise figure, dBm. bandwidth_hz > 0.
inline double receiver_noise_dbm(double bandwidth_hz, double noise_figure_db) {
  return kThermalDbmPerHz + db_from_ratio(bandwidth_hz) + noise_figure_db;
}

}  // namespace fadeward
