// Sufficient statistics of one direction over a quarter hour: the unit of memory, on disk and in review.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "fadeward/base/level_histogram.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward {

inline constexpr Duration kBinSpan = std::chrono::minutes{15};

/// How many frames were sent at one combination of power and data rate. Zero: not reported and not
/// configured.
struct RateUse {
  float power_dbm = 0;
  bool power_known = false;
  std::uint8_t spreading_factor = 0;
  float bandwidth_hz = 0;
  std::uint32_t frames = 0;

  template <class A>
  void archive(A& a) {
    a(power_dbm, power_known, spreading_factor, bandwidth_hz, frames);
  }
};

/// Whether two uses (RateUse or what sums it up) are of one combination.
template <class A, class B>
bool same_setting(const A& a, const B& b) {
  return a.power_known == b.power_known && a.power_dbm == b.power_dbm &&
         a.spreading_factor == b.spreading_factor && a.bandwidth_hz == b.bandwidth_hz;
}

/// One hop channel's part of a bin.
struct ChannelPart {
  std::uint16_t channel = 0;
  std::uint16_t frames = 0;
  float signal_sum_dbm = 0;    ///< sums over `frames`; divide for the mean
  float noise_sum_dbm = 0;

  template <class A>
  void archive(A& a) {
    a(channel, frames, signal_sum_dbm, noise_sum_dbm);
  }
};

struct Bin {
  static constexpr std::size_t kRates = 4;

  Time start{};                       ///< multiple of kBinSpan
  std::uint32_t frames = 0;           ///< received and measured
  std::uint32_t lost = 0;
  std::uint32_t sent = 0;             ///< by the sender's own counter, retries included
  std::uint32_t retries = 0;
  std::uint32_t failures = 0;
  NoiseSource noise_source = NoiseSource::none;   ///< of the last frame
  LossSource loss_source = LossSource::none;
  bool upkeep = false;                ///< any part of it lay in an upkeep period
  LevelHistogram margin;
  LevelHistogram signal;
  LevelHistogram noise;
  std::array<RateUse, kRates> rates{};   ///< first come first kept; the last collects the rest
  std::vector<ChannelPart> channels;     ///< in order of first use

  bool empty() const { return frames == 0 && lost == 0 && sent == 0; }

  /// Adds the other's frames: what one bin would hold, had it taken all of them (but for cells that
  /// are full). `start` stays; the sources become the other's.
  void merge(const Bin& other);

  template <class A>
  void archive(A& a) {
    a(start, frames, lost, sent, retries, failures, noise_source, loss_source, upkeep, margin,
      signal, noise, rates, channels);
  }
};

}  // namespace fadeward
