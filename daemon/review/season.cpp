#include "fadeward/review/season.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::review {

namespace {

using std::chrono::days;
using std::chrono::year_month_day;

year_month_day date_of(Time at) { return std::chrono::floor<days>(at); }

Time time_of(int year, MonthDay day) {
  return Time{std::chrono::sys_days{std::chrono::year{year} / static_cast<int>(day.month) /
                                    static_cast<int>(day.day)}};
}

/// The next such day from `after` on.
Time next(MonthDay day, Time after) {
  const int year = static_cast<int>(date_of(after).year());
  const Time same = time_of(year, day);
  return same >= after ? same : time_of(year + 1, day);
}

template <class Level>
estimate::DailyValues values_between(const std::vector<SpanRow>& rows, Time from, Time to,
                                     Level level) {
  estimate::DailyValues out;
  auto at = std::ranges::lower_bound(rows, from, {}, &SpanRow::from);
  for (; at != rows.end() && at->from < to; ++at)
    if (at->counts() && (*at).*level)
      out.add(static_cast<double>(std::chrono::floor<days>(at->from).time_since_epoch().count()),
              *((*at).*level));
  return out;
}

void append(estimate::DailyValues& out, const estimate::DailyValues& more) {
  out.days.insert(out.days.end(), more.days.begin(), more.days.end());
  out.values.insert(out.values.end(), more.values.begin(), more.values.end());
}

/// Both bare seasons brought to the level between them, so that what differs from winter to winter
/// does not pass for weather.
struct BareDays {
  estimate::DailyValues days;
  double change_db = 0;
};
BareDays bare_days(estimate::DailyValues before, estimate::DailyValues after) {
  BareDays out;
  if (const auto between = estimate::find_shift(before, after)) {
    out.change_db = between->difference;
    for (double& value : before.values) value += between->difference / 2;
    for (double& value : after.values) value -= between->difference / 2;
  }
  append(before, after);
  out.days = std::move(before);
  return out;
}

estimate::DailyValues differences_of(const estimate::DailyValues& before,
                                     const estimate::DailyValues& after, double apart) {
  estimate::DailyValues out;
  std::size_t k = 0;
  for (std::size_t i = 0; i < after.size(); ++i) {
    const double then = after.days[i] - apart;
    while (k < before.size() && before.days[k] < then) ++k;
    if (k < before.size() && before.days[k] == then)
      out.add(after.days[i], after.values[i] - before.values[k]);
  }
  return out;
}

/// When the days of [from, to) went half of the way from one level to another. Days of rain far from
/// both weigh no more than 1.5 dB.
std::optional<Time> turning_day(const std::vector<SpanRow>& rows, Time from, Time to) {
  constexpr double kWeekDays = 6;
  constexpr double kMostOffDb = 1.5;
  const auto values = margins_between(rows, from, to);
  if (values.size() == 0) return {};
  const double first = std::max(
      static_cast<double>(std::chrono::floor<days>(from).time_since_epoch().count()),
      values.days.front());
  const double last = static_cast<double>(std::chrono::floor<days>(to).time_since_epoch().count());
  if (last - first < 60 || static_cast<double>(values.size()) < 0.8 * (last - first)) return {};
  std::optional<double> best;
  double least = 1e300;
  for (double day = first + 14; day <= last - 14; ++day) {
    double n = 0, x = 0, y = 0, xx = 0, xy = 0;
    std::vector<double> shares;
    for (std::size_t i = 0; i < values.size(); ++i) {
      const double share = 1 / (1 + std::exp(-(values.days[i] - day) / kWeekDays));
      shares.push_back(share);
      n += 1;
      x += share;
      y += values.values[i];
      xx += share * share;
      xy += share * values.values[i];
    }
    const double slope = (xy - x * y / n) / (xx - x * x / n), start = (y - slope * x) / n;
    double sum = 0;
    for (std::size_t i = 0; i < values.size(); ++i)
      sum += std::min(std::pow(values.values[i] - start - slope * shares[i], 2),
                      kMostOffDb * kMostOffDb);
    if (sum >= least) continue;
    least = sum;
    best = day;
  }
  if (!best) return {};
  return Time{days{static_cast<std::int64_t>(*best)}};
}

}  // namespace

std::vector<YearLine> years_of(const std::vector<SpanRow>& rows) {
  std::vector<YearLine> out;
  for (const SpanRow& row : rows) {
    const year_month_day date = date_of(row.from);
    const int year = static_cast<int>(date.year());
    if (out.empty() || out.back().year != year) out.push_back({year, {}});
    const auto day =
        (std::chrono::floor<days>(row.from) - std::chrono::sys_days{date.year() / 1 / 1}).count();
    out.back().margin_db[static_cast<std::size_t>(day)] = row.margin_db;
  }
  return out;
}

estimate::DailyValues margins_between(const std::vector<SpanRow>& rows, Time from, Time to) {
  return values_between(rows, from, to, &SpanRow::margin_db);
}
estimate::DailyValues signals_between(const std::vector<SpanRow>& rows, Time from, Time to) {
  return values_between(rows, from, to, &SpanRow::signal_dbm);
}
estimate::DailyValues noises_between(const std::vector<SpanRow>& rows, Time from, Time to) {
  return values_between(rows, from, to, &SpanRow::noise_dbm);
}

std::vector<LeafYear> leaf_years(const std::vector<SpanRow>& rows, const LeafSeason& season) {
  std::vector<LeafYear> out;
  if (rows.empty()) return out;
  const int first = static_cast<int>(date_of(rows.front().from).year()) - 1;
  const int last = static_cast<int>(date_of(rows.back().from).year());
  for (int year = first; year <= last; ++year) {
    const Time on = time_of(year, season.from), off = next(season.to, on);
    const Time after_from = next(season.bare_from, off),
               after_to = next(season.bare_to, after_from);
    const Time before_to = next(season.bare_to, on - days{365});
    const Time before_from = before_to - (after_to - after_from);
    const auto leaves = margins_between(rows, on, off);
    const auto before = margins_between(rows, before_from, before_to);
    const auto after = margins_between(rows, after_from, after_to);
    const BareDays bare = bare_days(before, after);
    const auto shift = estimate::find_shift(bare.days, leaves);
    if (!shift) continue;
    const bool both =
        before.size() >= estimate::kLeastShiftDays && after.size() >= estimate::kLeastShiftDays;
    LeafYear found{year, both, *shift, bare.change_db, {}, {}};
    constexpr double kLeastToDateDb = 1;
    const bool clear = (shift->low > 0 || shift->high < 0) && shift->p < 0.01;
    if (clear && std::abs(shift->difference) >= kLeastToDateDb) {
      constexpr days kBeyond{15};
      found.out = turning_day(rows, before_to - kBeyond, on + kBeyond);
      found.gone = turning_day(rows, off - kBeyond, after_from + kBeyond);
    }
    out.push_back(found);
  }
  return out;
}

namespace {

template <class ShiftOf>
Comparison compared(const DaysOfBoth& both, std::string what, Time before_from, Time before_to,
                    Time after_from, Time after_to, ShiftOf shift_of) {
  Comparison out;
  out.what = std::move(what);
  out.before_from = before_from;
  out.before_to = before_to;
  out.after_from = after_from;
  out.after_to = after_to;
  for (std::size_t d = 0; d < kDirections; ++d) {
    if (both[d] == nullptr) continue;
    const auto shift = [&](auto values_of) {
      return shift_of(values_of(*both[d], before_from, before_to),
                      values_of(*both[d], after_from, after_to));
    };
    out.margin[d] = shift(margins_between);
    out.signal[d] = shift(signals_between);
    out.noise[d] = shift(noises_between);
  }
  return out;
}

}  // namespace

Comparison compare(const DaysOfBoth& both, std::string what, Time before_from, Time before_to,
                   Time after_from, Time after_to) {
  return compared(
      both, std::move(what), before_from, before_to, after_from, after_to,
      [](const auto& before, const auto& after) { return estimate::find_shift(before, after); });
}

Comparison compare_with_year_before(const DaysOfBoth& both, std::string what, Time from, Time to) {
  constexpr int kYear = 365;
  Comparison out =
      compared(both, std::move(what), from - days{kYear}, to - days{kYear}, from, to,
               [](const auto& before, const auto& after) {
                 return estimate::find_paired_shift(differences_of(before, after, kYear));
               });
  out.same_weeks = true;
  return out;
}

}  // namespace fadeward::review
