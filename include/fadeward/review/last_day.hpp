// The last day of a link in a few points, for a page that shows many links.
#pragma once

#include <array>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/history/reader.hpp"

namespace fadeward::review {

/// Median margin of each of the 24 hours before a moment, the oldest first; empty where nothing was
/// heard. Index: Direction.
using DayLine = std::array<std::array<std::optional<double>, 24>, kDirections>;

/// Of every link with data in that day.
using LastDays = std::map<std::string, DayLine, std::less<>>;

LastDays last_days(history::Reader& reader, Time to);

}  // namespace fadeward::review
