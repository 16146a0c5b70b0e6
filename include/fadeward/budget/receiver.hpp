// What a receiver needs and what it hears when nobody disturbs it: thermal noise and required SNR.
//
// Receivers are described by numbers only. Everything here is pure arithmetic, safe on any thread,
// and never fails: values that make no sense (not finite, not positive, a spreading factor outside
// the table) are treated as not said.
#pragma once

#include <cstdint>
#include <optional>

#include "fadeward/base/settings.hpp"

namespace fadeward::budget {

inline constexpr double kDefaultNoiseFigureDb = 6.0;      ///< common practice for these receivers
inline constexpr double kDefaultBandwidthHz = 125'000.0;  ///< common practice
inline constexpr double kDefaultRequiredSnrDb = 10.0;     ///< common practice for non-coherent FSK
/// Chirp spread spectrum without a stated spreading factor: taken as this one, the least sensitive
/// of those in general use, so that the margin is not flattered.
inline constexpr int kDefaultSpreadingFactor = 7;

/// SNR that a chirp spread spectrum demodulator needs, in the bandwidth of the chirp, dB.
/// Published transceiver datasheet limits: -5 dB at spreading factor 6 down to -20 dB at 12, 2.5 dB
/// per step; 5 continues the step. Empty outside 5..12.
std::optional<double> css_required_snr_db(int spreading_factor);

/// What one frame said about its own data rate; all empty: as configured.
struct FrameRate {
  std::optional<int> spreading_factor = {};
  std::optional<double> bandwidth_hz = {};
  std::optional<double> bit_rate_bps = {};
};

/// Where the required SNR came from.
enum class RequiredSnrSource : std::uint8_t {
  given,            ///< `required_snr_db` of the settings
  sensitivity,      ///< `sensitivity_dbm` less the receiver's own noise
  css_table,        ///< `css_required_snr_db`
  common_practice,  ///< nothing was said: a default of this header
};

struct Receiver {
  double noise_dbm = 0;               ///< thermal at 290 K + noise figure in `bandwidth_hz`
  double required_snr_db = 0;         ///< in the same bandwidth
  bool noise_assumed_figure = false;  ///< the noise figure is `kDefaultNoiseFigureDb`
  double bandwidth_hz = 0;
  double noise_figure_db = 0;
  RequiredSnrSource required_snr_source = RequiredSnrSource::common_practice;
};

/// One end's receiver at the rate of one frame.
///
/// Bandwidth: the frame's, else the configured one, else 125 kHz for chirps; for others twice the
/// bit rate (Carson's rule at modulation index 1), else 125 kHz. A configured bandwidth follows the
/// bit rate of the frame where the configuration states its own bit rate and no chirps are used.
/// Noise figure: the site's, else the radio's, else 6 dB.
/// Required SNR: given, else sensitivity less noise, else the chirp table, else 10 dB. The first
/// two hold for the configured spreading factor and are shifted by the difference of the table
/// where the frame used another one.
Receiver receiver_of(const RadioSettings& radio, const FrameRate& rate,
                     std::optional<double> site_noise_figure_db = {});

/// By how much the noise that an antenna hears raises that of its receiver behind a feeder, dB:
/// f becomes f + (fa - 1) / l, the sum of noise factors of ITU-R P.372 with all parts at 290 K.
/// man_made_noise_db is 10 log fa; 0 or less (nothing above thermal noise) raises nothing.
double man_made_rise_db(double noise_figure_db, double man_made_noise_db, double feeder_db);

/// By how many decibels the weakest level that is still received falls when the link goes from the
/// rate of this frame to `radio.slowest`: the difference of noise + required SNR, white noise taken
/// for granted where the bandwidth changes. 0 where no slowest rate is said or the frame is as slow.
double slowest_rate_gain_db(const RadioSettings& radio, const FrameRate& rate);

}  // namespace fadeward::budget
