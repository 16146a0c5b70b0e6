#include "fadeward/review/long_trend.hpp"

#include <algorithm>

#include "fadeward/estimate/trend.hpp"
#include "fadeward/history/month.hpp"

namespace fadeward::review {

namespace {

constexpr double kYearDays = 365.25;
constexpr std::size_t kLeastDays = 30;
constexpr std::uint32_t kLeastQuarters = 10 * 96;  ///< of a month that counts: a third of it

void seasonal(const std::vector<SpanRow>& months, LongTrend& out) {
  std::vector<int> seasons;
  std::vector<double> times, values;
  for (const SpanRow& row : months) {
    // Hours count four quarters each only where they are full; a third of a month is a third of it.
    if (!row.margin_db || row.quarters < kLeastQuarters) continue;
    const history::Month month = history::month_of(row.from);
    seasons.push_back(static_cast<int>(month.month));
    times.push_back(month.year);
    values.push_back(*row.margin_db);
  }
  const auto found = estimate::seasonal_kendall(seasons, times, values, 0.95, true);
  if (!found || found->seasons < 6) return;
  out.season_known = true;
  out.db_per_year = found->slope.slope;
  out.low = found->slope.low;
  out.high = found->slope.high;
  out.p = found->test.p();
}

void plain(const std::vector<SpanRow>& days, LongTrend& out) {
  std::vector<double> times, values;
  for (const SpanRow& row : days) {
    if (!row.counts()) continue;
    times.push_back(duration_to_seconds(row.from.time_since_epoch()) / 86400 / kYearDays);
    values.push_back(*row.margin_db);
  }
  if (values.size() < kLeastDays) return;
  const auto test = estimate::mann_kendall_autocorrelated(values);
  const auto slope = estimate::theil_sen(times, values, 0.95, test.variance);
  if (!slope) return;
  out.db_per_year = slope->slope;
  out.low = slope->low;
  out.high = slope->high;
  out.p = test.p();
}

}  // namespace

LongTrend long_trend(const std::vector<SpanRow>& days, const std::vector<SpanRow>& months,
                     std::optional<double> threshold_db) {
  LongTrend out;
  if (months.size() >= 24) seasonal(months, out);
  if (!out.season_known) plain(days, out);
  if (!threshold_db || days.empty()) return out;
  estimate::Forecast forecast;
  for (const SpanRow& row : days)
    if (row.counts())
      forecast.add_day(std::chrono::floor<std::chrono::days>(row.from).time_since_epoch().count(),
                       *row.margin_db);
  if (forecast.last_day()) out.crossing = forecast.crossing(*threshold_db);
  return out;
}

}  // namespace fadeward::review
