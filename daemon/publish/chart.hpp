// Drawings of a review as inline SVG: strokes and fills by class, so that light, dark and print
// surroundings colour them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/review/review.hpp"

namespace fadeward::publish {

/// A moment to mark, with the sign that the table of events repeats.
struct ChartMark {
  Time at{};
  std::string sign;
  bool upkeep = false;
};

/// Daily medians with their 1-99 % band, thresholds and the budgeted margin. `label` says what is
/// drawn to those who do not see it.
void append_margin_chart(std::string& out, const review::LinkReview& review, std::size_t direction,
                         const std::vector<ChartMark>& marks, std::string_view label);

/// Years by day of the year, the last six, as medians of weeks; each named at its end.
void append_years_chart(std::string& out, const std::vector<review::YearLine>& years,
                        std::string_view label);

/// Noise of hop channels as bars, signal as dots, against the middle of all.
void append_channel_chart(std::string& out, const std::vector<review::ChannelRow>& channels,
                          std::string_view label);

/// A line of a few dozen points in a box of `width` x `height`, without axes. Gaps break it.
void append_spark(std::string& out, const std::vector<std::optional<double>>& values, double low,
                  double high, int width, int height);

}  // namespace fadeward::publish
