// Learns from the reports whether the SNR has stopped following the level.
#pragma once

#include <cstdint>
#include <optional>

namespace fadeward::link {

/// Regresses SNR on RSSI with fading memory (about 500 frames). An SNR that stays within a decibel
/// while the level moves, well above zero, is the receiver's ceiling and not a measurement.
/// Interference also breaks the proportion, but then the SNR scatters and falls.
class SaturationLearner {
 public:
  /// True if `ceiling_db` may have changed.
  bool add(double rssi_dbm, double snr_db);
  /// Reported SNR at or above this says only "at least". Empty: not saturated as far as is known.
  std::optional<double> ceiling_db() const { return ceiling_; }

  template <class A>
  void archive(A& a) {
    a(weight_, rssi_, snr_, rssi2_, snr2_, cross_, since_judged_, ceiling_);
  }

 private:
  void judge();

  double weight_ = 0, rssi_ = 0, snr_ = 0, rssi2_ = 0, snr2_ = 0, cross_ = 0;
  std::uint32_t since_judged_ = 0;
  std::optional<double> ceiling_;
};

}  // namespace fadeward::link
