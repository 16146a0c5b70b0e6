// One time of the year against another, and before against after.
#pragma once

#include <array>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/estimate/shift.hpp"
#include "fadeward/review/digest.hpp"

namespace fadeward::review {

/// Margin of each day of a year, the first day of January at 0. Empty: not measured.
struct YearLine {
  int year = 0;
  std::array<std::optional<double>, 366> margin_db{};
};

std::vector<YearLine> years_of(const std::vector<SpanRow>& days);

/// A day of any year.
struct MonthDay {
  unsigned month = 1;
  unsigned day = 1;
  bool operator==(const MonthDay&) const = default;
};

/// When leaves are fully out; the bare season is the opposite time, with as long a pause on both
/// sides as lies between. Default: the northern temperate zone.
struct LeafSeason {
  MonthDay from{5, 25};
  MonthDay to{9, 25};
  MonthDay bare_from{11, 25};
  MonthDay bare_to{3, 25};
};

/// One summer of leaves against the bare seasons before and after it.
struct LeafYear {
  int year = 0;             ///< in which the leaves came out
  bool both_sides = false;  ///< a bare season before and one after: a slow change cancels
  estimate::Shift margin;   ///< with leaves less without, dB
  /// The bare season after less the one before; something else changed in between where it is
  /// large. 0 with one side.
  double bare_change_db = 0;
  /// Days on which half of it had come and half was gone again, where it is large enough to tell.
  std::optional<Time> out{}, gone{};
  bool alone() const { return std::abs(bare_change_db) < kOtherChangeDb; }
  static constexpr double kOtherChangeDb = 1.5;
};

/// The memory of the weather is taken from the seasons of all years but those in which much more
/// happened; a slow change that goes on within the seasons as it does between the winters is taken
/// out of each about its middle and does not pass for weather.
/// `out` and `gone`: the least squares place of a rise or fall within some two weeks between the bare
/// season and the summer; for 1 dB and more that is clear.
std::vector<LeafYear> leaf_years(const std::vector<SpanRow>& days, const LeafSeason& season = {});

/// Days of [from, to) that count.
estimate::DailyValues margins_between(const std::vector<SpanRow>& days, Time from, Time to);
estimate::DailyValues signals_between(const std::vector<SpanRow>& days, Time from, Time to);
estimate::DailyValues noises_between(const std::vector<SpanRow>& days, Time from, Time to);

/// What stood before a moment against what stood after it. After less before, dB; empty where a
/// side has too few days.
struct Comparison {
  std::string what;  ///< "mast work", "the date asked for"
  Time before_from{}, before_to{}, after_from{}, after_to{};
  std::array<std::optional<estimate::Shift>, kDirections> margin;
  std::array<std::optional<estimate::Shift>, kDirections> signal;
  std::array<std::optional<estimate::Shift>, kDirections> noise;
  bool same_weeks = false;  ///< the same weeks of two years: the season is the same
  Time at{};                ///< the moment it is about; may be unknown

  bool known() const { return margin[0] || margin[1]; }
};

using DaysOfBoth = std::array<const std::vector<SpanRow>*, kDirections>;

Comparison compare(const DaysOfBoth& days, std::string what, Time before_from, Time before_to,
                   Time after_from, Time after_to);

/// [from, to) against the same days a year before, day by day: the season drops out.
/// The memory of such differences is taken from those of most of a year before too.
Comparison compare_with_year_before(const DaysOfBoth& days, std::string what, Time from, Time to);

}  // namespace fadeward::review
