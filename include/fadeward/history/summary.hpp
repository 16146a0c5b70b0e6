// What one direction of a link did over any span of time: quarter hours, merged.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/bin.hpp"
#include "fadeward/history/levels.hpp"

namespace fadeward::history {

/// Frames and mean levels of one hop channel.
struct ChannelTotal {
  std::uint16_t channel = 0;  ///< as in ChannelPart
  std::uint64_t frames = 0;
  double signal_sum_dbm = 0;  ///< sums over `frames`; divide for the mean
  double noise_sum_dbm = 0;
};

/// How many frames were sent at one combination of power and data rate; fields as in RateUse.
struct RateTotal {
  float power_dbm = 0;
  bool power_known = false;
  std::uint8_t spreading_factor = 0;
  float bandwidth_hz = 0;
  std::uint64_t frames = 0;
};

/// Sums of bins. Merging is exact but for the means of channels, which the store keeps to a quarter
/// of a decibel.
struct Summary {
  static constexpr std::size_t kMostRates = 16;

  Time start{};                       ///< of the span that it stands for
  Duration span{};                    ///< quarter hour, hour, or what was asked for
  std::uint32_t quarters = 0;         ///< quarter hours with data in it
  std::uint32_t upkeep_quarters = 0;  ///< those of them that touched an upkeep period
  std::uint64_t frames = 0;           ///< received and measured
  std::uint64_t lost = 0;
  std::uint64_t sent = 0;  ///< by the sender's own counter, retries included
  std::uint64_t retries = 0;
  std::uint64_t failures = 0;
  NoiseSource noise_source = NoiseSource::none;  ///< of the last bin
  LossSource loss_source = LossSource::none;
  Levels margin;  ///< of the frames received
  Levels signal;
  Levels noise;
  std::vector<RateTotal> rates;        ///< first come first kept; the last collects the rest
  std::vector<ChannelTotal> channels;  ///< in rising order; see Reader for their resolution in time

  bool empty() const { return quarters == 0; }
  /// Empties it and keeps its memory.
  void clear();
  /// Neither `start` nor `span` changes. The sources become those of the other.
  void merge(const Bin& bin);
  void merge(const Summary& other);
  void add_channel(const ChannelTotal& more);
  void add_rate(const RateTotal& more);

  /// Lost per transmission. Empty: not known, or nothing sent.
  std::optional<double> loss_ratio() const;
  /// Repeats per transmission of this direction's sender. Empty: no counters.
  std::optional<double> retry_ratio() const;
};

}  // namespace fadeward::history
