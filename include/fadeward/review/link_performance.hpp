// The performance report of one link: intervals of its history, judged, by month and in all.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/review/episode.hpp"
#include "fadeward/review/gaps.hpp"
#include "fadeward/review/performance.hpp"

namespace fadeward::review {

struct Outage {
  Time from{};
  Time to{};
  Duration unavailable{};              ///< upkeep and missing data within left out
  std::optional<Direction> direction;  ///< empty: both; else one is known to be out
  bool open = false;                   ///< not over at the end of the period
  Cause cause = Cause::none;           ///< none: no event tells
  std::string text;                    ///< of the event that tells the cause
};

/// Index: Direction, then both ways.
inline constexpr std::size_t kBothWays = kDirections;
using Tallies = std::array<Tally, kDirections + 1>;

struct PerformanceMonth {
  Time from{};
  Time to{};
  Tallies tallies;
};

struct LinkPerformance {
  std::optional<Duration> interval;  ///< empty: too few frames to say anything
  Time from{};
  Time to{};
  std::array<bool, kDirections> known{};  ///< the direction was ever heard
  std::array<bool, kDirections> loss_known{};
  Tallies total;
  std::vector<PerformanceMonth> months;
  std::vector<std::string> upkeep_differences;  ///< between history and configuration; see Upkeep
  /// Starts that found quarter hours which nobody could place in time: of all links of the gateway,
  /// counted in `text`, in no figure.
  std::vector<history::MarkRecord> undated;
  std::vector<Outage> outages;  ///< in order; of the directions, joined where both are out
};

struct PerformanceInput {
  std::array<const std::vector<Slot>*, kDirections> slots{};
  std::vector<Gap> gaps;                      ///< in order of `from`; they may overlap
  std::vector<history::PeriodRecord> upkeep;  ///< the same
  const std::vector<Episode>* episodes = nullptr;
  Time from{};
  Time to{};
};

/// An interval without anything heard is severely errored, unless a gap or an upkeep covers more
/// than half of it. Where the other direction was heard, it is missing data: whoever reports the
/// levels of this one was silent, not this direction.
LinkPerformance link_performance(const PerformanceInput& input);

/// The event that likely tells why: one that stood in the first half of the outage, with a cause
/// before one without.
void tell_cause(Outage& outage, const std::vector<Episode>& episodes);

}  // namespace fadeward::review
