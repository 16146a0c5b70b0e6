#include "fadeward/budget/receiver.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/decibel.hpp"

namespace fadeward::budget {
namespace {

constexpr int kLowestFactor = 5;
constexpr int kHighestFactor = 12;
constexpr double kSnrAtLowestFactorDb = -2.5;
constexpr double kSnrStepDb = 2.5;

std::optional<double> positive(std::optional<double> value) {
  return value && std::isfinite(*value) && *value > 0 ? value : std::nullopt;
}

std::optional<double> finite(std::optional<double> value) {
  return value && std::isfinite(*value) ? value : std::nullopt;
}

std::optional<int> known_factor(std::optional<int> factor) {
  return factor && css_required_snr_db(*factor) ? factor : std::nullopt;
}

bool uses_chirps(const RadioSettings& radio, const FrameRate& rate) {
  if (radio.modulation != RadioSettings::Modulation::unspecified)
    return radio.modulation == RadioSettings::Modulation::css;
  return known_factor(radio.spreading_factor) || known_factor(rate.spreading_factor);
}

double configured_bandwidth_hz(const RadioSettings& radio, bool chirps) {
  if (auto width = positive(radio.bandwidth_hz)) return *width;
  if (auto bits = positive(radio.bit_rate_bps); bits && !chirps) return 2 * *bits;
  return kDefaultBandwidthHz;
}

double bandwidth_in_use_hz(const RadioSettings& radio, const FrameRate& rate, bool chirps) {
  if (auto width = positive(rate.bandwidth_hz)) return *width;
  const double configured = configured_bandwidth_hz(radio, chirps);
  const auto frame_bits = positive(rate.bit_rate_bps);
  if (chirps || !frame_bits) return configured;
  if (!positive(radio.bandwidth_hz)) return 2 * *frame_bits;
  const auto configured_bits = positive(radio.bit_rate_bps);
  return configured_bits ? configured * *frame_bits / *configured_bits : configured;
}

/// How much more the frame's spreading factor needs than the configured one, dB.
double shift_to_frame_db(const RadioSettings& radio, const FrameRate& rate) {
  const auto configured = known_factor(radio.spreading_factor);
  const auto frame = known_factor(rate.spreading_factor);
  return configured && frame ? kSnrStepDb * (*configured - *frame) : 0.0;
}

void set_required_snr(Receiver& receiver, const RadioSettings& radio, const FrameRate& rate,
                      bool chirps) {
  const double shift_db = chirps ? shift_to_frame_db(radio, rate) : 0.0;
  if (auto given = finite(radio.required_snr_db)) {
    receiver.required_snr_db = *given + shift_db;
    receiver.required_snr_source = RequiredSnrSource::given;
  } else if (auto sensitivity = finite(radio.sensitivity_dbm)) {
    const double own_noise_dbm =
        receiver_noise_dbm(configured_bandwidth_hz(radio, chirps), receiver.noise_figure_db);
    receiver.required_snr_db = *sensitivity - own_noise_dbm + shift_db;
    receiver.required_snr_source = RequiredSnrSource::sensitivity;
  } else if (chirps) {
    const auto frame = known_factor(rate.spreading_factor);
    const auto factor = frame ? frame : known_factor(radio.spreading_factor);
    receiver.required_snr_db = *css_required_snr_db(factor.value_or(kDefaultSpreadingFactor));
    receiver.required_snr_source =
        factor ? RequiredSnrSource::css_table : RequiredSnrSource::common_practice;
  } else {
    receiver.required_snr_db = kDefaultRequiredSnrDb;
    receiver.required_snr_source = RequiredSnrSource::common_practice;
  }
}

}  // namespace

std::optional<double> css_required_snr_db(int spreading_factor) {
  if (spreading_factor < kLowestFactor || spreading_factor > kHighestFactor) return std::nullopt;
  return kSnrAtLowestFactorDb - kSnrStepDb * (spreading_factor - kLowestFactor);
}

Receiver receiver_of(const RadioSettings& radio, const FrameRate& rate,
                     std::optional<double> site_noise_figure_db) {
  const bool chirps = uses_chirps(radio, rate);
  const auto site_figure = finite(site_noise_figure_db);
  const auto figure = site_figure ? site_figure : finite(radio.noise_figure_db);

  Receiver receiver;
  receiver.bandwidth_hz = bandwidth_in_use_hz(radio, rate, chirps);
  receiver.noise_figure_db = figure.value_or(kDefaultNoiseFigureDb);
  receiver.noise_assumed_figure = !figure;
  receiver.noise_dbm = receiver_noise_dbm(receiver.bandwidth_hz, receiver.noise_figure_db);
  set_required_snr(receiver, radio, rate, chirps);
  return receiver;
}

double man_made_rise_db(double noise_figure_db, double man_made_noise_db, double feeder_db) {
  if (!(man_made_noise_db > 0)) return 0;
  const double heard = (ratio_from_db(man_made_noise_db) - 1) / ratio_from_db(feeder_db);
  return db_from_ratio(1 + heard / ratio_from_db(noise_figure_db));
}

double slowest_rate_gain_db(const RadioSettings& radio, const FrameRate& rate) {
  if (!radio.slowest.said()) return 0;
  FrameRate slow = rate;
  if (radio.slowest.spreading_factor) slow.spreading_factor = radio.slowest.spreading_factor;
  if (radio.slowest.bandwidth_hz) slow.bandwidth_hz = radio.slowest.bandwidth_hz;
  if (radio.slowest.bit_rate_bps) slow.bit_rate_bps = radio.slowest.bit_rate_bps;
  const auto weakest_dbm = [](const Receiver& receiver) {
    return receiver.noise_dbm + receiver.required_snr_db;
  };
  return std::max(0.0,
                  weakest_dbm(receiver_of(radio, rate)) - weakest_dbm(receiver_of(radio, slow)));
}

}  // namespace fadeward::budget
