#include "fadeward/review/season.hpp"

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <numeric>

#include "fadeward/estimate/median.hpp"

namespace fadeward::review {

namespace {

using std::chrono::days;
using std::chrono::year_month_day;

constexpr double kConfidence = 0.95;
constexpr double kMuchMore = 3;  ///< times the variance: not the weather alone

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

/// One summer and the winters on both sides of it.
struct Seasons {
  int year = 0;
  Time before_to{}, on{}, off{}, after_from{};  ///< ends of the winters, beginning and end between
  estimate::DailyValues before, leaves, after;
};

std::vector<Seasons> seasons_of(const std::vector<SpanRow>& rows, const LeafSeason& season) {
  std::vector<Seasons> out;
  const int first = static_cast<int>(date_of(rows.front().from).year()) - 1;
  const int last = static_cast<int>(date_of(rows.back().from).year());
  for (int year = first; year <= last; ++year) {
    const Time on = time_of(year, season.from), off = next(season.to, on);
    const Time after_from = next(season.bare_from, off),
               after_to = next(season.bare_to, after_from);
    const Time before_to = next(season.bare_to, on - days{365});
    const Time before_from = before_to - (after_to - after_from);
    Seasons one;
    one.year = year;
    one.before_to = before_to;
    one.on = on;
    one.off = off;
    one.after_from = after_from;
    one.leaves = margins_between(rows, on, off);
    one.before = margins_between(rows, before_from, before_to);
    one.after = margins_between(rows, after_from, after_to);
    out.push_back(std::move(one));
  }
  return out;
}

bool enough(const estimate::DailyValues& some) { return some.size() >= estimate::kLeastShiftDays; }

double mean_of(const std::vector<double>& values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

/// Change per day within the seasons, by least squares about the mean of each.
double slope_within(std::initializer_list<const estimate::DailyValues*> some) {
  double product = 0, square = 0;
  for (const estimate::DailyValues* one : some) {
    if (one->size() == 0) continue;
    const double day = mean_of(one->days), value = mean_of(one->values);
    for (std::size_t i = 0; i < one->size(); ++i) {
      product += (one->days[i] - day) * (one->values[i] - value);
      square += (one->days[i] - day) * (one->days[i] - day);
    }
  }
  return square > 0 ? product / square : 0;
}

/// A slow change goes on within the seasons too and must not pass for weather; what happened
/// between them does not. So the slope taken out is the smaller of what both show.
double slow_change(const Seasons& one, double change_db) {
  const double between = change_db / (mean_of(one.after.days) - mean_of(one.before.days));
  const double within = slope_within({&one.before, &one.leaves, &one.after});
  return between > 0 ? std::clamp(within, 0.0, between) : std::clamp(within, between, 0.0);
}

void take_slope(estimate::DailyValues& some, double slope) {
  if (some.size() == 0) return;
  const double middle = mean_of(some.days);
  for (std::size_t i = 0; i < some.size(); ++i) some.values[i] -= slope * (some.days[i] - middle);
}

/// Takes the slow change out of each season, which keeps its mean, and brings both winters to the
/// level between them, so that what differs from winter to winter does not pass for weather either.
/// Returns by how much they differ.
double level(Seasons& one) {
  const auto between = estimate::find_shift(one.before, one.after);
  if (!between) return 0;
  const double slope = slow_change(one, between->difference);
  for (estimate::DailyValues* some : {&one.before, &one.leaves, &one.after})
    take_slope(*some, slope);
  for (double& value : one.before.values) value += between->difference / 2;
  for (double& value : one.after.values) value -= between->difference / 2;
  return between->difference;
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

namespace {

double variance_of(const estimate::DailyValues& some) {
  const double mean = mean_of(some.values);
  double sum = 0;
  for (const double value : some.values) sum += (value - mean) * (value - mean);
  return sum / static_cast<double>(some.size());
}

/// The seasons of this year and those of the others, whose weather is the same; but for others in
/// which much more happened than weather.
std::vector<estimate::DailyValues> weather_of(const std::vector<Seasons>& years, std::size_t year) {
  std::vector<const estimate::DailyValues*> others;
  std::vector<double> variances;
  for (std::size_t i = 0; i < years.size(); ++i)
    for (const estimate::DailyValues* one : {&years[i].leaves, &years[i].after}) {
      // The winter after a summer is the one before the next.
      const bool own = i == year || (i + 1 == year && one == &years[i].after);
      if (!enough(*one)) continue;
      variances.push_back(variance_of(*one));
      if (!own) others.push_back(one);
    }
  const double usual = estimate::median_of(variances);
  std::vector<estimate::DailyValues> out = {years[year].before, years[year].leaves,
                                            years[year].after};
  for (const estimate::DailyValues* one : others)
    if (variance_of(*one) <= kMuchMore * usual) out.push_back(*one);
  return out;
}

}  // namespace

std::vector<LeafYear> leaf_years(const std::vector<SpanRow>& rows, const LeafSeason& season) {
  std::vector<LeafYear> out;
  if (rows.empty()) return out;
  std::vector<Seasons> years = seasons_of(rows, season);
  std::vector<double> changes_db;
  for (Seasons& one : years) changes_db.push_back(level(one));
  for (std::size_t i = 0; i < years.size(); ++i) {
    const Seasons& one = years[i];
    const bool both = enough(one.before) && enough(one.after);
    const auto weather = weather_of(years, i);
    estimate::DailyValues bare = one.before;
    append(bare, one.after);
    const auto shift = estimate::find_shift(bare, one.leaves, kConfidence, weather);
    if (!shift) continue;
    LeafYear found{one.year, both, *shift, changes_db[i], {}, {}};
    constexpr double kLeastToDateDb = 1;
    const bool clear = (shift->low > 0 || shift->high < 0) && shift->p < 0.01;
    if (clear && std::abs(shift->difference) >= kLeastToDateDb) {
      constexpr days kBeyond{15};
      found.out = turning_day(rows, one.before_to - kBeyond, one.on + kBeyond);
      found.gone = turning_day(rows, one.off - kBeyond, one.after_from + kBeyond);
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
    const auto shift = [&](auto values_of) { return shift_of(*both[d], values_of); };
    out.margin[d] = shift(margins_between);
    out.signal[d] = shift(signals_between);
    out.noise[d] = shift(noises_between);
  }
  return out;
}

/// Up to a year of such differences before `from`, in parts: they tell how long the difference of
/// two weathers remembers. Parts in which much more happened than in the last one are left out.
template <class Differences>
std::vector<estimate::DailyValues> weather_before(Time from, const estimate::DailyValues& last,
                                                  Differences differences) {
  constexpr days kPart{60};
  constexpr int kParts = 5;
  std::vector<estimate::DailyValues> out = {last};
  for (int part = 0; part < kParts; ++part) {
    auto more = differences(from - (part + 1) * kPart, from - part * kPart);
    if (enough(more) && variance_of(more) <= kMuchMore * variance_of(last))
      out.push_back(std::move(more));
  }
  return out;
}

}  // namespace

Comparison compare(const DaysOfBoth& both, std::string what, Time before_from, Time before_to,
                   Time after_from, Time after_to) {
  return compared(both, std::move(what), before_from, before_to, after_from, after_to,
                  [&](const std::vector<SpanRow>& rows, auto values_of) {
                    return estimate::find_shift(values_of(rows, before_from, before_to),
                                                values_of(rows, after_from, after_to), kConfidence);
                  });
}

Comparison compare_with_year_before(const DaysOfBoth& both, std::string what, Time from, Time to) {
  constexpr int kYear = 365;
  Comparison out =
      compared(both, std::move(what), from - days{kYear}, to - days{kYear}, from, to,
               [&](const std::vector<SpanRow>& rows, auto values_of) {
                 const auto differences = [&](Time begin, Time end) {
                   return differences_of(values_of(rows, begin - days{kYear}, end - days{kYear}),
                                         values_of(rows, begin, end), kYear);
                 };
                 const auto last = differences(from, to);
                 return estimate::find_paired_shift(last, kConfidence,
                                                    weather_before(from, last, differences));
               });
  out.same_weeks = true;
  return out;
}

}  // namespace fadeward::review
