// What a frame meets on the air, and what a receiver makes of it: fading, estimators with their
// noise and their steps, and whether the frame survives.
//
// Levels are in dBm, ratios in dB. Nothing here knows a link or a time.
#pragma once

#include <cmath>

#include "fadeward/simulate/random.hpp"

namespace fadeward::simulate {

inline double power_of(double dbm) { return std::exp(dbm * 0.23025850929940458); }
inline double dbm_of(double power) { return 4.3429448190325175 * std::log(power); }

/// Rice fading of one frame: a steady wave and scattered ones.
class RiceFading {
 public:
  /// K = steady over scattered power, dB.
  explicit RiceFading(double k_db);

  /// Power relative to its mean, which is 1. Draws two normals.
  double draw(Random& random) const {
    const double in_phase = steady_ + scatter_ * random.normal();
    const double quadrature = scatter_ * random.normal();
    return in_phase * in_phase + quadrature * quadrature;
  }

 private:
  double steady_;   // amplitude of the steady wave
  double scatter_;  // standard deviation of each component
};

/// What a receiver says about a frame that it heard, in the steps in which it says it.
struct Reading {
  int rssi_dbm = 0;        ///< wanted signal plus noise, whole dB
  int snr_quarter_db = 0;  ///< steps of 0.25 dB
  int noise_dbm = 0;       ///< idle channel just before the frame, whole dB
};

inline constexpr double kSnrCeilingDb = 10.0;  ///< where reported SNR stops to follow the level
inline constexpr double kSnrBendDb = 1.5;      ///< half width of the bend below the ceiling

/// The SNR that a chirp demodulator reports for a true one, before noise and steps: the same well
/// below the ceiling, never above it.
inline double saturated_snr_db(double snr_db) {
  const double below = (kSnrCeilingDb - snr_db) / kSnrBendDb;
  if (below > 30.0) return snr_db;
  return kSnrCeilingDb - kSnrBendDb * std::log1p(std::exp(below));
}

/// Measures one frame. Draws three normals: total power (sd 0.3 dB), SNR (0.5 dB), idle level
/// (0.7 dB).
Reading measure(double signal_dbm, double noise_dbm, Random& random);

/// Probability that a frame with this margin (SNR above the required one, dB) is received: a half
/// at 0 dB, logistic, from one in twenty to nineteen in twenty within about 2 dB.
inline double success_probability(double margin_db) {
  return 1.0 / (1.0 + std::exp(-margin_db / 0.35));
}

/// SNR that a chirp demodulator needs, SF6 to SF12 (transceiver data sheets: -5 dB at SF6, 2.5 dB
/// less for each step). Outside that range the nearest.
double required_snr_db(int spreading_factor);

}  // namespace fadeward::simulate
