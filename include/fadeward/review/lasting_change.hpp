// Changes of the levels that stayed for weeks, as the days themselves show them: a barn in the path,
// water in a feeder, another power. What the watch told at the time is gone from its levels after
// three weeks; the record still has it.
#pragma once

#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/review/season.hpp"

namespace fadeward::review {

struct LastingChange {
  Time from{};  ///< the last day of the old level, midnight UTC
  Time to{};    ///< the first day of the new one: a day later where it came at once
  /// What it did to each level, in dB, with 95 % intervals; empty where the level is not known. Its
  /// moments are `from` and `to`; `same_weeks`, `p` and counts say nothing.
  Comparison levels;

  bool at_once() const { return to - from <= std::chrono::days{2}; }
  bool slow() const { return to - from > std::chrono::days{8}; }
  Time middle() const { return from + (to - from) / 2; }
  /// Share of it that stands on a day: 0 before, 1 after, between on the way.
  double share(Time day) const;
};

/// Least squares on medians of five days (more for more than six years): a level, a straight line
/// and the leaves of an average summer first, then one step after another, each the one that
/// explains most of what is left in mean and difference of the signals and in the noise of both
/// ends together, as long as it is beyond chance and at least 1 dB in one of them. Neighbours of one
/// sign within weeks are one slow change. Sizes are those of all changes fitted together; intervals
/// take the memory of what is left into account. A change counts from twenty days before the end of
/// the record on. With less than 400 days leaves and path cannot be told apart: then only what
/// leaves do not do is found. Both spans of days in order; empty before sixty days.
std::vector<LastingChange> lasting_changes(const DaysOfBoth& days, const LeafSeason& season = {});

/// The rows as they would be without these changes and without a straight line of so many dB a
/// year: margins only. Days or months.
std::vector<SpanRow> without_changes(std::vector<SpanRow> rows, std::size_t direction,
                                     const std::vector<LastingChange>& changes,
                                     double db_per_year = 0);

}  // namespace fadeward::review
