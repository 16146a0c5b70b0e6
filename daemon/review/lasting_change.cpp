#include "fadeward/review/lasting_change.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>

#include "fadeward/estimate/linear_regression.hpp"
#include "fadeward/estimate/median.hpp"

namespace fadeward::review {

namespace {

using std::chrono::days;
using Values = std::vector<double>;

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t kLeastDays = 60;
constexpr std::size_t kDaysForLeaves = 400;
constexpr std::size_t kMostGroups = 450;
constexpr std::size_t kLeastGroups = 4;  ///< at the new level and at the old one
constexpr std::size_t kMostSteps = 12;
constexpr double kLeastStepDb = 1;
constexpr double kLeastGain = 40;      ///< variances explained, of all streams
constexpr double kOneChangeDays = 60;  ///< steps of one sign closer than this are one slow change
constexpr double kYearDays = 365.25;
constexpr double kReachDays = 75;  ///< on both sides of a change, to find when it came
constexpr double kShiftDays = 30;
constexpr std::array<double, 17> kLengths = {1,  2,  4,  6,  8,  10, 12,  15, 20,
                                             25, 30, 40, 50, 65, 80, 100, 130};

double day_number(Time at) {
  return static_cast<double>(std::chrono::floor<days>(at).time_since_epoch().count());
}
Time midnight(double day) { return Time{days{static_cast<std::int64_t>(std::llround(day))}}; }

double dot(const Values& a, const Values& b) {
  return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
}
double logistic(double x) { return 1 / (1 + std::exp(-x)); }

/// Columns that were taken out of everything.
class Basis {
 public:
  void add(const Values& column) {
    Values rest = left_of(column);
    const double length = std::sqrt(dot(rest, rest));
    if (length < 1e-6 * std::sqrt(dot(column, column) + 1e-12)) return;
    for (double& value : rest) value /= length;
    unit_.push_back(std::move(rest));
  }
  Values left_of(Values column) const {
    for (const Values& one : unit_) {
      const double part = dot(one, column);
      for (std::size_t i = 0; i < column.size(); ++i) column[i] -= part * one[i];
    }
    return column;
  }

 private:
  std::vector<Values> unit_;
};

/// The leaves of an average summer, 0 to 1.
class Leaves {
 public:
  Leaves(const LeafSeason& season, double first_day, double last_day) {
    const auto at = [](int year, MonthDay day) {
      return day_number(Time{std::chrono::sys_days{
          std::chrono::year{year} / static_cast<int>(day.month) / static_cast<int>(day.day)}});
    };
    const auto year_of = [](double day) {
      return static_cast<int>(
          std::chrono::year_month_day{std::chrono::floor<days>(midnight(day))}.year());
    };
    const auto between = [](double a, double b) { return a + (b >= a ? b - a : b + 365 - a) / 2; };
    for (int year = year_of(first_day) - 1; year <= year_of(last_day) + 1; ++year) {
      out_.push_back(between(at(year, season.bare_to), at(year, season.from)));
      double gone = between(at(year, season.to), at(year, season.bare_from));
      if (gone < out_.back()) gone += 365;
      gone_.push_back(gone);
    }
  }
  void move(double out_days, double gone_days) {
    out_later_ = out_days;
    gone_later_ = gone_days;
  }
  double share(double day) const {
    double sum = 0;
    for (std::size_t i = 0; i < out_.size(); ++i)
      sum +=
          logistic((day - out_[i] - out_later_) / 6) - logistic((day - gone_[i] - gone_later_) / 7);
    return sum;
  }
  Values column(const Values& at) const {
    Values out;
    for (const double day : at) out.push_back(share(day));
    return out;
  }

 private:
  Values out_, gone_;
  double out_later_ = 0, gone_later_ = 0;
};

double ramp(double day, double from, double to) {
  return std::clamp((day - from) / std::max(to - from, 1.0), 0.0, 1.0);
}

/// One place for each day of the record; levels are NaN where a day does not count.
struct Table {
  double first = 0;
  enum Level { signal_in, signal_out, noise_in, noise_out, margin_in, margin_out, kLevels };
  std::array<Values, kLevels> level;
  std::size_t size = 0;

  explicit Table(const DaysOfBoth& both) {
    double last = -1e18;
    first = 1e18;
    for (const auto* rows : both) {
      if (rows == nullptr || rows->empty()) continue;
      first = std::min(first, day_number(rows->front().from));
      last = std::max(last, day_number(rows->back().from));
    }
    if (last < first || last - first > 100 * kYearDays) return;
    size = static_cast<std::size_t>(last - first) + 1;
    level.fill(Values(size, kNone));
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (both[d] == nullptr) continue;
      for (const SpanRow& row : *both[d]) {
        if (!row.counts()) continue;
        const auto at = static_cast<std::size_t>(day_number(row.from) - first);
        level[signal_in + d][at] = row.signal_dbm.value_or(kNone);
        level[noise_in + d][at] = row.noise_dbm.value_or(kNone);
        level[margin_in + d][at] = *row.margin_db;
      }
    }
  }
};

/// Medians of `group` days at a time.
Values grouped(const Values& values, std::size_t group) {
  Values out;
  for (std::size_t i = 0; i < values.size(); i += group) {
    std::vector<double> some;
    for (std::size_t k = i; k < std::min(i + group, values.size()); ++k)
      if (!std::isnan(values[k])) some.push_back(values[k]);
    out.push_back(some.empty() ? kNone : estimate::median_of(some));
  }
  return out;
}

/// How far neighbours lie apart by chance: next ones, and those some weeks apart.
double scatter_of(const Values& left) {
  double most = 0.05;
  for (const std::size_t lag : {std::size_t{1}, std::size_t{4}}) {
    std::vector<double> apart;
    for (std::size_t i = lag; i < left.size(); ++i)
      apart.push_back(std::abs(left[i] - left[i - lag]));
    if (!apart.empty()) most = std::max(most, 1.4826 * estimate::median_of(apart) / std::sqrt(2.0));
  }
  return most;
}

struct Span {
  double from = 0;
  double to = 0;
};

class Finder {
 public:
  Finder(const DaysOfBoth& both, const LeafSeason& season)
      : table_(both),
        leaves_(season, table_.first, table_.first + static_cast<double>(table_.size)) {}

  std::vector<LastingChange> find() {
    if (table_.size < kLeastDays) return {};
    group_ = std::max<std::size_t>(5, table_.size / kMostGroups + 1);
    seasons_ = table_.size >= kDaysForLeaves;
    gather();
    if (streams_.empty() || day_.size() < 2 * kLeastGroups + 2) return {};
    if (seasons_) place_leaves();
    search();
    join();
    for (Span& one : spans_) sharpen(one);
    return sized();
  }

 private:
  /// Streams on the groups that have all of them.
  void gather() {
    std::vector<Values> all;
    const auto have = [&](Table::Level which) {
      const Values& values = table_.level[which];
      const auto known = std::ranges::count_if(values, [](double v) { return !std::isnan(v); });
      return known * 2 > static_cast<std::ptrdiff_t>(values.size());
    };
    const bool in = have(Table::signal_in), out = have(Table::signal_out);
    if (in && out) {
      Values mean, apart;
      for (std::size_t i = 0; i < table_.size; ++i) {
        const double a = table_.level[Table::signal_in][i], b = table_.level[Table::signal_out][i];
        mean.push_back((a + b) / 2);
        apart.push_back(a - b);
      }
      if (seasons_) all.push_back(grouped(mean, group_));
      path_ = seasons_;
      all.push_back(grouped(apart, group_));
      daily_ = seasons_ ? std::vector<Values>{mean, apart} : std::vector<Values>{apart};
    } else if ((in || out) && seasons_) {
      daily_.push_back(table_.level[in ? Table::signal_in : Table::signal_out]);
      all.push_back(grouped(daily_.back(), group_));
      path_ = true;
    }
    for (const auto which : {Table::noise_in, Table::noise_out}) {
      if (!have(which)) continue;
      daily_.push_back(table_.level[which]);
      all.push_back(grouped(daily_.back(), group_));
    }
    if (all.empty()) return;
    streams_.resize(all.size());
    for (std::size_t g = 0; g < all.front().size(); ++g) {
      if (std::ranges::any_of(all, [g](const Values& one) { return std::isnan(one[g]); })) continue;
      day_.push_back(middle_of_group(g));
      for (std::size_t s = 0; s < all.size(); ++s) streams_[s].push_back(all[s][g]);
    }
  }

  double middle_of_group(std::size_t group) const {
    return table_.first + (static_cast<double>(group) + 0.5) * static_cast<double>(group_) - 0.5;
  }

  Basis base() const {
    Basis out;
    Values one(day_.size(), 1.0), line;
    for (const double day : day_) line.push_back((day - day_.front()) / kYearDays);
    out.add(one);
    out.add(line);
    if (seasons_) out.add(leaves_.column(day_));
    return out;
  }

  void place_leaves() {
    if (!path_) return;
    double best = 1e300, best_out = 0, best_gone = 0;
    for (double out = -20; out <= 20; out += 4)
      for (double gone = -20; gone <= 20; gone += 4) {
        leaves_.move(out, gone);
        const Values left = base().left_of(streams_.front());
        // Not squares: a step that is not known yet must not pull at the dates.
        double sum = 0;
        for (const double value : left) sum += std::min(value * value, 4.0);
        if (sum >= best) continue;
        best = sum;
        best_out = out;
        best_gone = gone;
      }
    leaves_.move(best_out, best_gone);
  }

  Values step_at(std::size_t group) const {
    Values out(day_.size(), 0.0);
    for (std::size_t i = group; i < out.size(); ++i) out[i] = 1;
    return out;
  }

  void search() {
    Basis basis = base();
    std::vector<std::size_t> found;
    while (found.size() < kMostSteps) {
      std::vector<Values> left;
      scatter_.clear();
      for (const Values& stream : streams_) {
        left.push_back(basis.left_of(stream));
        scatter_.push_back(scatter_of(left.back()));
      }
      double best = kLeastGain;
      std::size_t at = 0;
      for (std::size_t k = kLeastGroups; k + kLeastGroups <= day_.size(); ++k) {
        const Values step = basis.left_of(step_at(k));
        const double length = dot(step, step);
        if (length < 1.5) continue;  // what is known already explains it
        double gain = 0, most = 0;
        for (std::size_t s = 0; s < left.size(); ++s) {
          const double size = dot(step, left[s]) / length;
          gain += size * size * length / (scatter_[s] * scatter_[s]);
          most = std::max(most, std::abs(size));
        }
        if (most < kLeastStepDb || gain <= best) continue;
        best = gain;
        at = k;
      }
      if (at == 0) break;
      found.push_back(at);
      basis.add(step_at(at));
    }
    std::ranges::sort(found);
    for (const std::size_t k : found) {
      const double day = (day_[k - 1] + day_[k] + 1) / 2;
      spans_.push_back({day - 1, day});
    }
  }

  /// A level, a line, the leaves and the changes: what the days are made of.
  std::size_t columns() const { return 2 + (seasons_ ? 1 : 0) + spans_.size(); }
  void append_row(std::vector<double>& design, double day) const {
    design.push_back(1);
    design.push_back((day - table_.first) / kYearDays);
    if (seasons_) design.push_back(leaves_.share(day));
    for (const Span& one : spans_) design.push_back(ramp(day, one.from, one.to));
  }

  /// All of a stream together.
  struct Fitted {
    double leaves_db = 0;
    Values sizes_db;  ///< of the spans
  };
  /// One for each stream; empty where they cannot be told apart.
  std::vector<Fitted> fit() const {
    std::vector<double> design;
    for (const double day : day_) append_row(design, day);
    std::vector<Fitted> out;
    for (const Values& stream : streams_) {
      const auto found = estimate::fit_linear(design, columns(), stream);
      if (!found) return {};
      const auto& all = found->coefficients;
      out.push_back({seasons_ ? all[2] : 0,
                     {all.end() - static_cast<std::ptrdiff_t>(spans_.size()), all.end()}});
    }
    return out;
  }

  /// Neighbours of one sign in the stream that moved most, for what it scatters, are one slow
  /// change.
  void join() {
    for (std::size_t guard = 0; guard < kMostSteps; ++guard) {
      const std::vector<Fitted> now = fit();
      if (now.empty()) return;
      bool joined = false;
      for (std::size_t k = 0; k + 1 < spans_.size() && !joined; ++k) {
        if (spans_[k + 1].from - spans_[k].to > kOneChangeDays) continue;
        std::size_t most = 0;
        const auto seen = [&](std::size_t s) { return std::abs(now[s].sizes_db[k]) / scatter_[s]; };
        for (std::size_t s = 1; s < now.size(); ++s)
          if (seen(s) > seen(most)) most = s;
        if (now[most].sizes_db[k] * now[most].sizes_db[k + 1] <= 0) continue;
        spans_[k].to = spans_[k + 1].to;
        spans_.erase(spans_.begin() + static_cast<std::ptrdiff_t>(k) + 1);
        joined = true;
      }
      if (!joined) return;
    }
  }

  /// Day by day around it, the season and the other changes out.
  void sharpen(Span& one) {
    const double reach = std::max(kReachDays, one.to - one.from);
    const double begin = std::max(table_.first, one.from - reach),
                 end = std::min(table_.first + static_cast<double>(table_.size), one.to + reach);
    std::vector<Values> levels;  // by stream
    Values at;
    const std::vector<Fitted> now = fit();
    if (now.empty()) return;
    const std::size_t mine = static_cast<std::size_t>(&one - spans_.data());
    for (double day = begin; day < end; ++day) at.push_back(day);
    Values scatter;
    for (std::size_t s = 0; s < daily_.size(); ++s) {
      Values some, known;
      for (const double day : at) {
        double value = daily_[s][static_cast<std::size_t>(day - table_.first)] -
                       now[s].leaves_db * leaves_.share(day);
        for (std::size_t k = 0; k < spans_.size(); ++k)
          if (k != mine) value -= now[s].sizes_db[k] * ramp(day, spans_[k].from, spans_[k].to);
        some.push_back(value);
        if (!std::isnan(value)) known.push_back(value);
      }
      levels.push_back(std::move(some));
      scatter.push_back(scatter_of(known));
    }
    Span best = one;
    double least = 1e300;
    const double middle = (one.from + one.to) / 2, half = (one.to - one.from) / 2;
    for (const double length : kLengths) {
      const double step = std::max(1.0, std::floor(length / 10));
      for (double shift = -kShiftDays - half; shift <= kShiftDays + half; shift += step) {
        const double from = std::round(middle + shift - length / 2);
        const Span tried{from, from + length};
        // A longer way must explain more than a shorter one.
        double rest = 4 * std::log(length);
        for (std::size_t s = 0; s < levels.size(); ++s)
          rest += rest_of(tried, at, levels[s], scatter[s]);
        if (rest >= least) continue;
        least = rest;
        best = tried;
      }
    }
    one = best;
  }

  /// Squares left of a level and a ramp, in variances. A day of snow counts no more than a day that
  /// is three deviations off.
  static double rest_of(const Span& tried, const Values& at, const Values& level, double scatter) {
    double n = 0, x = 0, y = 0, xx = 0, xy = 0;
    const double base = level_base(level);
    for (std::size_t i = 0; i < at.size(); ++i) {
      if (std::isnan(level[i])) continue;
      const double share = ramp(at[i], tried.from, tried.to);
      const double value = level[i] - base;
      n += 1;
      x += share;
      y += value;
      xx += share * share;
      xy += share * value;
    }
    if (n < 3) return 0;
    const double cx = xx - x * x / n, slope = cx > 1e-9 ? (xy - x * y / n) / cx : 0;
    const double start = (y - slope * x) / n;
    double sum = 0;
    for (std::size_t i = 0; i < at.size(); ++i) {
      if (std::isnan(level[i])) continue;
      const double off =
          (level[i] - base - start - slope * ramp(at[i], tried.from, tried.to)) / scatter;
      sum += std::min(off * off, 9.0);
    }
    return sum;
  }
  /// Keeps sums of squares small.
  static double level_base(const Values& level) {
    for (const double value : level)
      if (!std::isnan(value)) return value;
    return 0;
  }

  /// All changes together, level by level.
  std::vector<LastingChange> sized() const {
    std::vector<LastingChange> out(spans_.size());
    for (std::size_t k = 0; k < out.size(); ++k) {
      out[k].from = midnight(spans_[k].from);
      out[k].to = midnight(spans_[k].to);
      out[k].levels.what = "a change that stayed";
      out[k].levels.before_to = out[k].from;
      out[k].levels.after_from = out[k].to;
    }
    for (std::size_t which = 0; which < Table::kLevels && !out.empty(); ++which) {
      const auto sizes = sizes_of(table_.level[which]);
      for (std::size_t k = 0; k < sizes.size(); ++k) {
        auto& levels = which < Table::noise_in    ? out[k].levels.signal
                       : which < Table::margin_in ? out[k].levels.noise
                                                  : out[k].levels.margin;
        levels[which % 2] = sizes[k];
      }
    }
    std::erase_if(out, [](const LastingChange& one) {
      const auto large = [](const auto& levels) {
        return std::ranges::any_of(levels, [](const auto& level) {
          return level && std::abs(level->difference) >= 0.8 * kLeastStepDb &&
                 level->low * level->high > 0;
        });
      };
      return !large(one.levels.signal) && !large(one.levels.noise) && !large(one.levels.margin);
    });
    return out;
  }

  std::vector<estimate::Shift> sizes_of(const Values& daily) const {
    const Values values = grouped(daily, group_);
    std::vector<double> design;
    Values observed;
    for (std::size_t g = 0; g < values.size(); ++g) {
      if (std::isnan(values[g])) continue;
      append_row(design, middle_of_group(g));
      observed.push_back(values[g]);
    }
    const std::size_t width = columns();
    if (observed.size() < width + kLeastGroups) return {};
    const auto found = estimate::fit_linear(design, width, observed);
    if (!found) return {};
    Values left;
    for (std::size_t i = 0; i < observed.size(); ++i) {
      double value = observed[i];
      for (std::size_t c = 0; c < width; ++c)
        value -= design[i * width + c] * found->coefficients[c];
      left.push_back(value);
    }
    double squares = 0, next = 0;
    for (std::size_t i = 0; i < left.size(); ++i) {
      squares += left[i] * left[i];
      if (i > 0) next += left[i] * left[i - 1];
    }
    const double likeness = squares > 0 ? std::clamp(next / squares, 0.0, 0.9) : 0;
    const double memory = (1 + likeness) / (1 - likeness);
    std::vector<estimate::Shift> out;
    for (std::size_t k = width - spans_.size(); k < width; ++k) {
      estimate::Shift one;
      const double error = found->standard_errors[k] * std::sqrt(memory);
      one.difference = found->coefficients[k];
      one.low = one.difference - 1.96 * error;
      one.high = one.difference + 1.96 * error;
      one.p = error > 0 ? std::erfc(std::abs(one.difference) / error / std::sqrt(2.0)) : 1;
      one.memory = memory;
      out.push_back(one);
    }
    return out;
  }

  Table table_;
  Leaves leaves_;
  std::size_t group_ = 5;
  bool seasons_ = false, path_ = false;
  Values day_;                   ///< middle of each group
  std::vector<Values> streams_;  ///< mean and difference of the signals, noise of both ends
  std::vector<Values> daily_;    ///< the same, day by day
  Values scatter_;               ///< of each stream, with the steps out
  std::vector<Span> spans_;
};

}  // namespace

double LastingChange::share(Time day) const {
  return ramp(day_number(day), day_number(from), day_number(to));
}

std::vector<LastingChange> lasting_changes(const DaysOfBoth& both, const LeafSeason& season) {
  return Finder(both, season).find();
}

std::vector<SpanRow> without_changes(std::vector<SpanRow> rows, std::size_t direction,
                                     const std::vector<LastingChange>& changes,
                                     double db_per_year) {
  if (rows.empty()) return rows;
  const double first = day_number(rows.front().from);
  for (SpanRow& row : rows) {
    if (!row.margin_db) continue;
    const double begin = day_number(row.from), end = std::max(begin + 1, day_number(row.to));
    double sum = 0;
    for (const LastingChange& one : changes) {
      if (!one.levels.margin[direction]) continue;
      double share = 0;
      for (double day = begin; day < end; ++day) share += one.share(midnight(day));
      sum += one.levels.margin[direction]->difference * share / (end - begin);
    }
    *row.margin_db -= sum + db_per_year * ((begin + end) / 2 - first) / kYearDays;
  }
  return rows;
}

}  // namespace fadeward::review
