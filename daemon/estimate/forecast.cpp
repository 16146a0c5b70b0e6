#include "fadeward/estimate/forecast.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "fadeward/estimate/drift.hpp"
#include "fadeward/estimate/median.hpp"
#include "fadeward/estimate/trend.hpp"

namespace fadeward::estimate {

namespace {

constexpr double kPerDb = 100;
constexpr double kMostDb = 327;
constexpr std::ptrdiff_t kYear = 365;
constexpr std::ptrdiff_t kSeasonAfter = 395;  ///< a year and enough of the next to compare
constexpr std::ptrdiff_t kTrendDays = 30;
constexpr std::size_t kTrendLeast = 7;
constexpr std::size_t kPairsLeast = 30;
constexpr std::ptrdiff_t kSeasonHalf = 10;  ///< the season is a median of 21 days
constexpr std::size_t kSeasonLeast = 6;

constexpr double kDriftZ = 4;
constexpr double kDriftP = 0.01;  ///< one-sided
constexpr double kDriftLeastDb = 0.8;
constexpr double kDrawnOn = 0.6;
constexpr double kNinetyPercent = 1.645;
constexpr double kLevelDays = 10;
constexpr double kOffsetDays = 30;           ///< for the difference from the season
constexpr double kDriftSeasonErrorDb = 0.5;  ///< at least, with the season under a drift
constexpr double kSeasonErrorDb = 0.9;       ///< of a season alone: no two years are the same
constexpr double kYearlyLeastDb = 0.5;

// Weather of daily medians: correlated over a few days. What differs from a season carries the
// noise of that season's median, which is correlated over its three weeks.
constexpr UsualNoise kWeather{0.3, 6.5};
constexpr UsualNoise kWeatherAndSeason{0.4, 10};

struct Series {
  std::vector<double> times;
  std::vector<double> values;
  void add(std::ptrdiff_t time, double value) {
    times.push_back(static_cast<double>(time));
    values.push_back(value);
  }
};

bool counts(const Drift& drift, double now) {
  return !drift.levelled && drift.z() < -kDriftZ && drift.p / 2 < kDriftP &&
         drift.slope * (now - drift.since) < -kDriftLeastDb;
}

/// How far ahead a drift is drawn on. Leaves fall by four decibels in a month and stay: what is
/// still to come is seldom more than a good half of what has been seen.
double reach_of(const Drift& drift, double now) { return kDrawnOn * (now - drift.since); }

/// Median of the last days, none of them before the last step.
double recent_level(const Series& series, double record_from, double days) {
  const double from = std::max(record_from, series.times.back() - days);
  std::vector<double> recent;
  for (std::size_t i = 0; i < series.times.size(); ++i)
    if (series.times[i] >= from) recent.push_back(series.values[i]);
  return median_of(recent);
}

/// Margin `days` ahead and its standard error. Empty where nothing can be said.
struct Expected {
  double margin_db;
  double error_db;
};

double drift_error(const Drift& drift, double ahead) {
  return std::sqrt(std::max(0.0, drift.level_variance + 2 * ahead * drift.covariance +
                                     ahead * ahead * drift.slope_variance));
}

/// Walks ahead day by day until middle and both ends have crossed.
template <class Outlook>
void walk(Crossing& out, std::ptrdiff_t reach, const Outlook& expected_at) {
  out.late_days.reset();
  std::optional<double> early;
  bool crossed = false;
  for (std::ptrdiff_t ahead = 1; ahead <= reach && !out.late_days; ++ahead) {
    const std::optional<Expected> expected = expected_at(ahead);
    if (!expected) continue;
    const auto days = static_cast<double>(ahead);
    const double width = kNinetyPercent * expected->error_db;
    if (!early && expected->margin_db - width <= out.threshold_db) early = days;
    if (!crossed && expected->margin_db <= out.threshold_db) {
      crossed = true;
      out.days = days;
    }
    if (crossed && expected->margin_db + width <= out.threshold_db) out.late_days = days;
  }
  out.outlook = crossed ? Crossing::Outlook::crosses : Crossing::Outlook::none_in_sight;
  if (crossed) out.early_days = early.value_or(out.days);
}

}  // namespace

void Forecast::add_day(std::int64_t day_number, double margin_db) {
  if (!std::isfinite(margin_db) || day_number > kFarthestDay || day_number < -kFarthestDay) return;
  const auto most = static_cast<std::int64_t>(kMostDays);
  const auto held = static_cast<std::int64_t>(days_.size());
  if (held == 0 || day_number - (first_day_ + held - 1) > most) {
    days_.clear();
    first_day_ = day_number;
  }
  if (day_number < first_day_) return;
  while (first_day_ + static_cast<std::int64_t>(days_.size()) <= day_number) {
    if (days_.size() == kMostDays) {
      days_.pop();
      ++first_day_;
    }
    days_.push(kMissing);
  }
  const double kept = std::clamp(margin_db, -kMostDb, kMostDb);
  days_[static_cast<std::size_t>(day_number - first_day_)] =
      static_cast<std::int16_t>(std::lround(kept * kPerDb));
}

std::optional<std::int64_t> Forecast::last_day() const {
  if (days_.empty()) return {};
  return first_day_ + static_cast<std::int64_t>(days_.size()) - 1;
}

std::optional<double> Forecast::at(std::ptrdiff_t index) const {
  if (index < 0 || index >= static_cast<std::ptrdiff_t>(days_.size())) return {};
  const std::int16_t value = days_[static_cast<std::size_t>(index)];
  if (value == kMissing) return {};
  return value / kPerDb;
}

std::optional<double> Forecast::trend_db_per_day() const {
  const auto end = static_cast<std::ptrdiff_t>(days_.size());
  Series series;
  for (std::ptrdiff_t i = std::max<std::ptrdiff_t>(0, end - kTrendDays); i < end; ++i)
    if (const auto value = at(i)) series.add(i, *value);
  if (series.times.size() < kTrendLeast) return {};
  const auto slope = theil_sen(series.times, series.values);
  if (!slope) return {};
  return slope->slope;
}

std::optional<double> Forecast::yearly_trend_db() const {
  auto differences = yearly_differences();
  if (differences.size() < kPairsLeast) return {};
  return median_of(differences);
}

std::vector<double> Forecast::yearly_differences() const {
  const auto end = static_cast<std::ptrdiff_t>(days_.size());
  std::vector<double> differences;
  if (end < kSeasonAfter) return differences;
  for (std::ptrdiff_t i = kYear; i < end; ++i) {
    const auto now = at(i), then = at(i - kYear);
    if (now && then) differences.push_back(*now - *then);
  }
  return differences;
}

std::vector<std::optional<double>> Forecast::season() const {
  const auto end = static_cast<std::ptrdiff_t>(days_.size());
  std::vector<std::optional<double>> out(days_.size());
  std::vector<double> near;
  for (std::ptrdiff_t i = 0; i < end; ++i) {
    near.clear();
    for (std::ptrdiff_t k = i - kSeasonHalf; k <= i + kSeasonHalf; ++k)
      if (const auto value = at(k)) near.push_back(*value);
    if (near.size() >= kSeasonLeast) out[static_cast<std::size_t>(i)] = median_of(near);
  }
  return out;
}

Crossing Forecast::crossing(double threshold_db) const {
  Crossing out;
  out.threshold_db = threshold_db;
  const auto end = static_cast<std::ptrdiff_t>(days_.size());
  if (end == 0) return out;
  if (end >= kSeasonAfter && against_season(out)) return out;
  against_record(out);
  return out;
}

void Forecast::against_record(Crossing& out) const {
  const auto end = static_cast<std::ptrdiff_t>(days_.size());
  Series series;
  for (std::ptrdiff_t i = std::max<std::ptrdiff_t>(0, end - kYear); i < end; ++i)
    if (const auto value = at(i)) series.add(i, *value);
  const auto drift = find_drift(series.times, series.values, kWeather);
  if (!drift) return;
  const double now = static_cast<double>(end - 1);
  const bool drifts = counts(*drift, now);
  out.level_db = drifts ? drift->level : recent_level(series, drift->record_from, kLevelDays);
  out.slope_db_per_day = drifts ? drift->slope : 0;
  if (out.level_db <= out.threshold_db) {
    out.outlook = Crossing::Outlook::below;
    return;
  }
  out.outlook = Crossing::Outlook::none_in_sight;
  if (!drifts) return;
  walk(out, static_cast<std::ptrdiff_t>(reach_of(*drift, now)), [&](std::ptrdiff_t ahead) {
    const auto days = static_cast<double>(ahead);
    return std::optional<Expected>({drift->level + drift->slope * days, drift_error(*drift, days)});
  });
}

bool Forecast::against_season(Crossing& out) const {
  const auto end = static_cast<std::ptrdiff_t>(days_.size());
  const auto usual = season();
  const auto season_of = [&](std::ptrdiff_t index) -> std::optional<double> {
    if (index < 0 || index >= end) return {};
    return usual[static_cast<std::size_t>(index)];
  };
  Series excess;  // above the same days of the year before
  for (std::ptrdiff_t i = kYear; i < end; ++i) {
    const auto value = at(i), then = season_of(i - kYear);
    if (value && then) excess.add(i, *value - *then);
  }
  const auto drift = find_drift(excess.times, excess.values, kWeatherAndSeason);
  const auto season_now = season_of(end - 1 - kYear);
  if (!drift || !season_now) return false;
  out.season_known = true;

  const double now = static_cast<double>(end - 1);
  const bool drifts = counts(*drift, now);
  const double offset =
      drifts ? drift->level : recent_level(excess, drift->record_from, kOffsetDays);
  out.level_db = *season_now + offset;
  out.slope_db_per_day = drifts ? drift->slope : 0;
  if (out.level_db <= out.threshold_db) {
    out.outlook = Crossing::Outlook::below;
    return true;
  }
  const double reach = drifts ? reach_of(*drift, now) : 0;
  const auto yearly = steady_yearly_trend();
  const auto far = yearly ? std::min(end, 2 * kYear) : kYear;
  const auto expected_at = [&](bool with_drift) {
    return [&, with_drift](std::ptrdiff_t ahead) -> std::optional<Expected> {
      const std::ptrdiff_t years = (ahead + kYear - 1) / kYear;
      const auto then = season_of(end - 1 + ahead - years * kYear);
      if (!then) return {};
      const double season =
          *then + offset + (yearly ? static_cast<double>(years - 1) * *yearly : 0);
      if (!with_drift) return Expected{season, kSeasonErrorDb};
      const double drawn = std::min(static_cast<double>(ahead), reach);
      return Expected{season + drift->slope * drawn,
                      std::max(kDriftSeasonErrorDb, drift_error(*drift, drawn))};
    };
  };
  // A season alone must take even the upper end across.
  walk(out, far, expected_at(false));
  out.by_season = out.outlook == Crossing::Outlook::crosses && out.late_days;
  if (!out.by_season) {
    out.outlook = Crossing::Outlook::none_in_sight;
    out.late_days.reset();
  }
  if (drifts) walk(out, far, expected_at(true));
  return true;
}

std::optional<double> Forecast::steady_yearly_trend() const {
  auto all = yearly_differences();
  if (all.size() < static_cast<std::size_t>(kYear) / 2) return {};
  const auto half = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
  std::vector<double> early(all.begin(), half), late(half, all.end());
  const double first = median_of(early), second = median_of(late), whole = median_of(all);
  if (std::abs(whole) < kYearlyLeastDb) return {};
  // A step shows in one half only; a trend shows in both.
  if (first / whole < 0.5 || second / whole < 0.5) return {};
  return whole;
}

}  // namespace fadeward::estimate
