// What every form of a review takes from its tables in the same way.
#pragma once

#include <algorithm>
#include <array>
#include <optional>
#include <string>

#include "fadeward/review/link_performance.hpp"
#include "fadeward/review/words.hpp"

namespace fadeward::publish {

inline constexpr std::array<const char*, 12> kShortMonths = {
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};

/// Index: Direction, then both ways; as JSON and CSV have it too.
inline constexpr std::array<const char*, kDirections + 1> kWayNames = {"inbound", "outbound",
                                                                       "both"};

inline std::optional<double> percent(const std::optional<double>& ratio) {
  return ratio ? std::optional(*ratio * 100) : std::nullopt;
}

/// "2034-04", UTC.
inline std::string month_digits(Time at) { return review::date_digits(at).substr(0, 7); }

/// Of the calendar month that begins at `month`, 0..1; `way`: Direction or review::kBothWays. Empty
/// where nothing was measured.
inline std::optional<double> month_availability(const review::LinkPerformance& all, Time month,
                                                std::size_t way) {
  const auto at = std::ranges::find(all.months, month, &review::PerformanceMonth::from);
  return at == all.months.end() ? std::nullopt : at->tallies[way].availability();
}

}  // namespace fadeward::publish
