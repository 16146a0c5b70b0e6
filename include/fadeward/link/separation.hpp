// Wanted signal and noise from what a receiver reports.
#pragma once

#include <cmath>
#include <optional>

#include "fadeward/base/terms.hpp"

namespace fadeward::link {

/// So far below its ceiling an SNR begins to lag behind, dB.
inline constexpr double kBendDb = 3.0;

/// What one end reported for one frame; empty where it said nothing.
struct Reading {
  std::optional<double> rssi_dbm;
  std::optional<double> snr_db;
  std::optional<double> noise_dbm;  ///< idle channel
};

/// How to read it.
struct ReadingRules {
  bool rssi_is_total = true;    ///< RSSI contains the noise (and interference) power
  double level_offset_db = 0;   ///< added to RSSI and idle noise
  double snr_ceiling_db = 1e9;  ///< an SNR at or above this says only "at least"
  double receiver_noise_dbm =
      -117;                    ///< thermal + noise figure: stands in where nothing is measured
  double required_snr_db = 0;  ///< at the rate of the frame
  std::optional<double> recent_noise_dbm;  ///< measured lately on this link, for frames whose SNR
                                           ///< is saturated
};

struct Separated {
  double signal_dbm = 0;
  double noise_dbm = 0;
  NoiseSource source = NoiseSource::assumed;
  bool signal_is_bound = false;  ///< RSSI within 3 dB of the noise: the signal is "at most" this
};

/// 10 lg(1 + 10^(-snr/10)): what total power exceeds the wanted signal by. From a table for
/// quarter decibels between -32 and +32 dB, which is what receivers report; computed otherwise.
double excess_over_signal_db(double snr_db);

/// The signal in total power, with noise of `noise_dbm` alone in it. Closer than 0.5 dB the
/// difference is all measurement error: there the signal is put 9.1 dB under the noise.
double signal_of_total(double total_dbm, double noise_dbm);

/// An SNR this far under what the level above the idle noise says has stopped following them: a
/// ceiling that is not known yet. Low ones may well be true: then it is interference that the idle
/// channel does not have.
inline bool snr_lags_behind(double snr_db, double above_noise_db) {
  constexpr double kMayLagDb = 6, kLagsByDb = 3;
  return snr_db >= kMayLagDb && above_noise_db > snr_db + kLagsByDb;
}

/// Empty if neither RSSI nor SNR is there. For RSSI as total power with a usable SNR:
/// S = RSSI - 10 lg(1 + 10^(-SNR/10)), N = S - SNR (common practice; e.g. data sheets of chirp
/// receivers). Without one: S = 10 lg(10^(RSSI/10) - 10^(N/10)) with N measured idle, else recent,
/// else assumed. The idle reading, where there is one, is the noise.
std::optional<Separated> separate(const Reading& reading, const ReadingRules& rules);

}  // namespace fadeward::link
