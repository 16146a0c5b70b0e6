// Where the margin is heading: change per year, and when it crosses a threshold.
#pragma once

#include <optional>
#include <vector>

#include "fadeward/estimate/forecast.hpp"
#include "fadeward/review/digest.hpp"

namespace fadeward::review {

struct LongTrend {
  /// Before two years the season is unknown and a spring looks like decay: then this is the plain
  /// slope of the record, and only as far as it goes.
  bool season_known = false;
  std::optional<double> db_per_year;
  double low = 0;  ///< 95 % interval
  double high = 0;
  double p = 1;                                ///< no trend
  std::optional<estimate::Crossing> crossing;  ///< empty without a threshold or days
};

/// With 24 months or more: seasonal Kendall over monthly medians, each month a season (Hirsch,
/// Slack, Smith 1982), months that resemble their neighbours allowed for. Before: Theil-Sen over
/// daily medians with the variance of Mann-Kendall corrected for autocorrelation (Hamed and Rao
/// 1998); empty before 30 days. The crossing: see estimate::Forecast. `months` and `days` in order.
LongTrend long_trend(const std::vector<SpanRow>& days, const std::vector<SpanRow>& months,
                     std::optional<double> threshold_db);

}  // namespace fadeward::review
