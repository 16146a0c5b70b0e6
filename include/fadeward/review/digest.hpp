// One reading of a direction's history, boiled down to days, months, hours, channels and slots.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <string_view>
#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/history/reader.hpp"
#include "fadeward/review/noisy_channels.hpp"
#include "fadeward/review/upkeep.hpp"

namespace fadeward::review {

/// A day or a calendar month, UTC. Levels in dBm and margins in dB are medians; empty where nothing
/// was measured. Ratios are 0..1.
struct SpanRow {
  Time from{};
  Time to{};
  std::uint32_t quarters = 0;         ///< quarter hours with data
  std::uint32_t upkeep_quarters = 0;  ///< those of them that touched an upkeep
  std::uint64_t frames = 0;           ///< heard
  std::uint64_t lost = 0;
  std::optional<double> margin_db;       ///< see margins_of
  std::optional<double> margin_low_db;   ///< 1 % level
  std::optional<double> margin_high_db;  ///< 99 % level
  std::optional<double> signal_dbm;
  std::optional<double> noise_dbm;
  std::optional<double> loss_ratio;
  std::optional<double> retry_ratio;

  /// A day that tells how the link stood: measured for some hours, and nobody worked on it.
  bool counts() const { return margin_db && quarters >= kLeastQuarters && upkeep_quarters == 0; }
  static constexpr std::uint32_t kLeastQuarters = 8;
};

/// What a quarter hour (or an hour, of older times) held.
struct Slot {
  Time from{};
  Duration span{};
  std::uint32_t frames = 0;
  std::uint32_t lost = 0;
  bool loss_known = false;
  bool upkeep = false;
};

/// `upkeep`: known by now; what the bin itself knows counts as well.
Slot slot_of(const history::Summary& bin, const UpkeepTimes& upkeep);

/// One hop channel against the middle of all channels.
struct ChannelRow {
  unsigned channel = 0;
  std::uint64_t frames = 0;
  double signal_offset_db = 0;
  double noise_offset_db = 0;
  std::optional<double> last_noise_offset_db;  ///< in the last month with data
};

/// Median margin by month of the year and hour of the day, UTC.
using HourMap = std::array<std::array<std::optional<double>, 24>, 12>;

struct Digest {
  std::vector<SpanRow> days;    ///< those with data, in order
  std::vector<SpanRow> months;  ///< the same
  HourMap hours{};
  std::vector<ChannelRow> channels;  ///< empty unless the radio hops
  std::vector<ChannelMonth> channel_months;
  std::vector<Slot> slots;
  NoiseSource noise_source = NoiseSource::none;  ///< of the last bin
  LossSource loss_source = LossSource::none;

  bool empty() const { return days.empty(); }
};

/// Called with the share done, 0..1; may be empty.
using Progress = std::function<void(double)>;

/// `upkeep`: as slot_of.
Digest digest(history::Reader& reader, std::string_view link, Direction direction, Time from,
              Time to, const Periods& upkeep = {}, const Progress& progress = {});

}  // namespace fadeward::review
