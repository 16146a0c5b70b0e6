// A review as words and columns, and as CSV.
#pragma once

#include <span>
#include <string>

#include "fadeward/review/review.hpp"

namespace fadeward::publish {

/// Story, months of both directions, leaves, events and the performance report; sentences wrap at
/// 100 characters, tables are up to 116 wide.
std::string review_text(const review::LinkReview& review);

/// Header and one line for each link, direction and day: "link,direction,day,...", dates as
/// 2031-04-01, levels to 0.01, ratios 0..1 to six decimals; empty where not known.
std::string review_csv(std::span<const review::LinkReview> reviews);

struct NamedPerformance {
  std::string link;
  review::LinkPerformance performance;
};

/// Availability and errors of every link and of all together, by month; outages with their cause;
/// how it was counted.
std::string report_text(std::span<const NamedPerformance> links);
/// One line for each link, direction ("both" too) and month.
std::string report_csv(std::span<const NamedPerformance> links);

/// How the figures came about, in sentences for the foot of a report.
std::string counting_words(std::optional<Duration> interval);

/// All links as one: intervals weighted by their length. Seconds, for availability() and the like.
review::Tally network_seconds(std::span<const NamedPerformance> links);

}  // namespace fadeward::publish
