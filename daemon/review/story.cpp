// What happened to a link, told from its tables.
#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>
#include <span>

#include "fadeward/base/settings.hpp"
#include "fadeward/estimate/median.hpp"
#include "fadeward/review/review.hpp"
#include "fadeward/review/words.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

constexpr std::array<const char*, kDirections> kWay = {"inbound", "outbound"};
constexpr std::size_t kMostEpisodes = 10;
constexpr std::size_t kMostOutages = 3;
constexpr std::size_t kMostSettings = 5;
constexpr std::size_t kMostNoisy = 6;
constexpr Duration kShort = 24h;  ///< an episode below this is weather unless it is large
constexpr double kLargeDb = 6;
constexpr double kLeastDbPerYear = 0.15;  ///< less is no trend that anybody acts on
constexpr double kNoisyDb = 2;  ///< a channel above the others

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z')
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

/// "inbound 20.1 dB, outbound 18.4 dB": whatever is known of both.
template <class Text>
std::string both_ways_words(Text text) {
  std::string out;
  for (std::size_t d = 0; d < kDirections; ++d) {
    const std::string part = text(d);
    if (part.empty()) continue;
    out += out.empty() ? "" : ", ";
    out += std::string(kWay[d]) + " " + part;
  }
  return out;
}

const SpanRow* weakest_month(std::span<const SpanRow> months) {
  const SpanRow* out = nullptr;
  for (const SpanRow& row : months)
    if (row.margin_db && (out == nullptr || *row.margin_db < *out->margin_db)) out = &row;
  return out;
}

std::optional<double> usual_margin(const std::vector<SpanRow>& days) {
  std::vector<double> values;
  for (const SpanRow& row : days)
    if (row.counts()) values.push_back(*row.margin_db);
  if (values.empty()) return {};
  return estimate::median_of(values);
}

class Story {
 public:
  explicit Story(const LinkReview& review) : review_(review) {}

  std::vector<StoryLine> tell() {
    if (review_.empty()) return {{"Record", "There is no data of this link in the period."}};
    level();
    outlook();
    leaves();
    lasting();
    episodes();
    settings();
    comparisons();
    noisy_channels();
    channels();
    availability();
    record();
    return std::move(out_);
  }

 private:
  void add(std::string topic, std::string text) {
    out_.push_back({std::move(topic), std::move(text)});
  }
  const Digest& digest(std::size_t d) const { return review_.directions[d].digest; }

  void level() {
    std::string text = both_ways_words([&](std::size_t d) {
      const auto usual = usual_margin(digest(d).days);
      return usual ? in_db(*usual) : std::string();
    });
    if (text.empty()) return;
    text = "Margin on a middling day: " + text + ".";
    for (std::size_t d = 0; d < kDirections; ++d) {
      const SpanRow* month = weakest_month(digest(d).months);
      if (month == nullptr || digest(d).months.size() < 2) continue;
      text += " Weakest month " + std::string(kWay[d]) + ": " + month_words(month->from) +
              " with " + in_db(*month->margin_db);
      if (month->margin_low_db)
        text += ", and 1 frame in 100 below " + in_db(*month->margin_low_db);
      text += ".";
    }
    add("Margin", text);
  }

  /// A month's slope is no promise for a year: it is told for as long as it was seen.
  double length_years(std::size_t d) const {
    const auto& days = digest(d).days;
    return days.empty() ? 0
                        : duration_to_seconds(days.back().to - days.front().from) / 86400 / 365.25;
  }

  std::string trend_words(std::size_t d) const {
    const LongTrend& trend = review_.directions[d].trend;
    if (!trend.db_per_year) return {};
    const bool clear = trend.p < 0.05 && (trend.low > 0 || trend.high < 0) &&
                       (!trend.season_known || std::abs(*trend.db_per_year) >= kLeastDbPerYear);
    const bool falls = *trend.db_per_year < 0;
    std::string text;
    if (!trend.season_known) {
      text = clear ? "the margin " + std::string(falls ? "fell" : "rose") + " by " +
                         in_db(std::abs(*trend.db_per_year) * length_years(d)) + " over the record"
                   : std::string("no trend over the record");
      text += "; less than two years do not tell a season from a trend";
      if (clear && !(review_.steps.empty() && review_.lasting.empty()))
        text += ", the changes told below included";
    } else {
      text = review_.lasting.empty() ? "with the season taken out "
                                     : "with the season and the changes told below taken out ";
      text += clear ? "the margin " + std::string(falls ? "falls" : "rises") + " by " +
                          in_small_db(std::abs(*trend.db_per_year)) + " a year (" +
                          in_small_db(std::min(std::abs(trend.low), std::abs(trend.high))) +
                          " to " +
                          in_small_db(std::max(std::abs(trend.low), std::abs(trend.high))) + ")"
                    : std::string("there is no trend over the years");
    }
    const std::string reach = clear && falls && trend.season_known ? reach_words(d) : "";
    if (!reach.empty())
      text += "; " + reach;
    else if (trend.crossing)
      text += "; " + crossing_words(*trend.crossing);
    return text + ".";
  }

  /// When a slow loss brings the weakest month of a year down to the warning: beyond what the
  /// forecast by days looks at, and no further ahead than the record reaches back.
  std::string reach_words(std::size_t d) const {
    const LongTrend& trend = review_.directions[d].trend;
    if (!trend.crossing || trend.crossing->outlook != estimate::Crossing::Outlook::none_in_sight)
      return {};
    const auto& months = digest(d).months;
    const std::size_t first = months.size() > 12 ? months.size() - 12 : 0;
    const SpanRow* weakest = weakest_month(std::span(months).subspan(first));
    if (weakest == nullptr) return {};
    const double above_db = *weakest->margin_db - trend.crossing->threshold_db;
    const double years = above_db / -*trend.db_per_year;
    if (years <= 0 || years > length_years(d)) return {};
    const long whole = std::max(1L, std::lround(years));
    return "at that rate the weakest month of the year, now " + in_db(*weakest->margin_db) +
           ", comes down to " + in_db(trend.crossing->threshold_db) + " in about " +
           std::to_string(whole) + (whole == 1 ? " year" : " years");
  }

  void outlook() {
    const std::string in = trend_words(0), out = trend_words(1);
    if (!in.empty() && in == out) {
      add("Trend", "Both ways: " + in);
      return;
    }
    if (!in.empty()) add("Trend", "Inbound: " + in);
    if (!out.empty()) add("Trend", "Outbound: " + out);
  }

  /// Summers that nothing else changed; all of them where there is none.
  static std::vector<LeafYear> plain_summers(const std::vector<LeafYear>& years) {
    std::vector<LeafYear> plain;
    std::ranges::copy_if(years, std::back_inserter(plain), &LeafYear::alone);
    return plain.empty() ? years : plain;
  }
  static double middle_of(const std::vector<LeafYear>& years) {
    std::vector<double> sizes;
    for (const LeafYear& one : years) sizes.push_back(one.margin.difference);
    return estimate::median_of(sizes);
  }
  bool has_leaves(std::size_t d) const {
    const auto plain = plain_summers(review_.directions[d].leaves);
    const auto clear = std::ranges::count_if(
        plain, [](const LeafYear& one) { return is_clear(one.margin) && one.margin.p < 0.01; });
    return !plain.empty() && clear * 2 > static_cast<std::ptrdiff_t>(plain.size()) &&
           std::abs(middle_of(plain)) >= 0.5;
  }

  void leaves() {
    std::array<std::string, kDirections> none;
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& years = review_.directions[d].leaves;
      if (years.empty()) continue;
      if (!has_leaves(d)) {
        none[d] = "summer and winter margins do not differ beyond the weather.";
        continue;
      }
      const std::vector<LeafYear> plain = plain_summers(years);
      const double middle = middle_of(plain);
      std::string text = capital(kWay[d]) + ": in summer the margin is " + in_db(std::abs(middle)) +
                         (middle < 0 ? " lower" : " higher") +
                         (std::ranges::any_of(plain, &LeafYear::both_sides)
                              ? " than in the winters around it"
                              : " than in the one winter beside it (a slow change is in that "
                                "figure)");
      if (years.size() > 1) text += " (" + summers_words(years) + ")" + last_summer_words(years);
      add("Leaves", text + "." + thin_summer_words(d, middle));
    }
    if (const std::string dates = leaf_dates_words(); !dates.empty()) add("Leaves", dates);
    if (!none[0].empty() && none[0] == none[1])
      add("Leaves", "Both ways: " + none[0]);
    else
      for (std::size_t d = 0; d < kDirections; ++d)
        if (!none[d].empty()) add("Leaves", capital(kWay[d]) + ": " + none[d]);
  }

  static std::string summers_words(const std::vector<LeafYear>& years) {
    std::string text;
    for (const LeafYear& one : years)
      text += (text.empty() ? "" : "; ") + std::to_string(one.year) + ": " +
              in_db(one.margin.difference) +
              (!one.alone() ? ", other changes in it" : one.both_sides ? "" : ", one winter only");
    return text;
  }
  std::string last_summer_words(const std::vector<LeafYear>& years) const {
    const LeafYear &last = years.back(), &before = years[years.size() - 2];
    const bool worse = last.margin.high < before.margin.low;
    const bool better = last.margin.low > before.margin.high;
    if (!last.both_sides || !before.both_sides || !last.alone() || !before.alone() ||
        (!worse && !better))
      return {};
    // Where a change lies between their winters, what was taken out is less sure than the difference.
    using std::chrono::sys_days, std::chrono::year;
    const Time from{sys_days{year{before.year - 1} / 10 / 1}},
        to{sys_days{year{last.year + 1} / 4 / 1}};
    for (const LastingChange& one : review_.lasting)
      if (one.to > from && one.from < to) return {};
    return "; " + std::to_string(last.year) + " cost " +
           in_db(std::abs(last.margin.difference - before.margin.difference)) +
           (worse ? " more" : " less") + " than " + std::to_string(before.year);
  }
  /// Once for both ways: the leaves are the same.
  std::string leaf_dates_words() const {
    std::map<int, std::vector<Time>> out, gone;
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (!has_leaves(d)) continue;
      for (const LeafYear& one : review_.directions[d].leaves) {
        if (!one.alone()) continue;
        if (one.out) out[one.year].push_back(*one.out);
        if (one.gone) gone[one.year].push_back(*one.gone);
      }
    }
    std::string text;
    if (!out.empty()) text = "Half of that had come by about " + dates_words(out) + ".";
    if (!gone.empty())
      text += std::string(text.empty() ? "Half" : " Half") + " of it was gone by about " +
              dates_words(gone) + ".";
    return text;
  }
  static std::string dates_words(const std::map<int, std::vector<Time>>& years) {
    std::string text;
    for (const auto& [year, ways] : years)
      text += (text.empty() ? "" : ", ") +
              date_words(ways.front() + (ways.back() - ways.front()) / 2);
    return text;
  }
  /// Advice where a summer has little left above the threshold.
  std::string thin_summer_words(std::size_t d, double middle_db) const {
    constexpr double kThinDb = 4;
    if (middle_db >= 0) return {};
    std::vector<double> summer;
    const auto& days = digest(d).days;
    for (const SpanRow& row : days) {
      const std::chrono::year_month_day date = std::chrono::floor<std::chrono::days>(row.from);
      const MonthDay day{static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day())};
      if (row.counts() && row.from > days.back().from - 365 * 24h && in_leaf(day))
        summer.push_back(*row.margin_db);
    }
    const double warning_db =
        review_.context.warning_db.value_or(*AlertSettings{}.margin_db.warning);
    if (summer.empty()) return {};
    const double level_db = estimate::median_of(summer);
    if (level_db - warning_db > kThinDb) return {};
    return " The last summer's middle was " + in_db(level_db) + " with a warning at " +
           in_db(warning_db) + ": trim or raise before the next spring.";
  }
  bool in_leaf(const MonthDay& day) const {
    const auto place = [](const MonthDay& one) { return one.month * 100 + one.day; };
    const unsigned from = place(review_.season.from), to = place(review_.season.to);
    return from <= to ? place(day) >= from && place(day) < to
                      : place(day) >= from || place(day) < to;
  }

  void lasting() {
    for (std::size_t k = 0; k < review_.lasting.size(); ++k) {
      const LastingChange& one = review_.lasting[k];
      std::string text = when_words(one) + ": " + moved_words(one, k) + ".";
      text += cause_words(one) + wet_words(k) + given_back_words(k);
      add("Lasting change", text);
    }
  }

  std::string when_words(const LastingChange& one) const {
    if (const Episode* setting = setting_of(one)) return moment_words(setting->from);
    if (const history::PeriodRecord* work = work_of(one)) return date_words(work->from);
    if (one.at_once()) return "About " + date_words(one.middle());
    return date_words(one.from) + " to " + date_words(one.to) + (one.slow() ? ", slowly" : "");
  }

  /// "the margin another 3.2 dB lower inbound (...), ...; the signal ...; noise at the site ...".
  std::string moved_words(const LastingChange& one, std::size_t k) const {
    const auto level = [](const std::optional<estimate::Shift>& shift, double least_db) {
      return shift && is_clear(*shift) && std::abs(shift->difference) >= least_db;
    };
    const auto& margin = one.levels.margin;
    std::string text;
    for (std::size_t d = 0; d < kDirections; ++d)
      if (level(margin[d], 0.3))
        text += (text.empty() ? "the margin " : ", ") + std::string(kWay[d]) + " " +
                shift_words(*margin[d]);
    const bool one_way = level(margin[0], 0.3) != level(margin[1], 0.3) && margin[0] && margin[1];
    if (one_way) text += std::string(", ") + kWay[level(margin[0], 0.3) ? 1 : 0] + " as before";
    if (k > 0 && !text.empty() && same_way(review_.lasting[k - 1], one) &&
        one.from - review_.lasting[k - 1].to < 365 * 24h)
      text += ", on top of the one before";
    constexpr std::array<const char*, kDirections> kEnd = {"at the gateway", "at the site"};
    for (std::size_t d = 0; d < kDirections; ++d)
      if (level(one.levels.noise[d], 0.5))
        text += (text.empty() ? "" : "; ") + std::string("the noise ") + kEnd[d] + " " +
                shift_words(*one.levels.noise[d]);
    return text.empty() ? "the levels moved" : text;
  }
  static bool same_way(const LastingChange& a, const LastingChange& b) {
    const auto cause = likely_cause(a);
    const auto& x = a.levels.signal[0] ? a.levels.signal[0] : a.levels.signal[1];
    const auto& y = b.levels.signal[0] ? b.levels.signal[0] : b.levels.signal[1];
    return cause != Cause::none && cause == likely_cause(b) && x && y &&
           x->difference * y->difference > 0;
  }

  std::string cause_words(const LastingChange& one) const {
    std::string text;
    if (const Episode* setting = setting_of(one)) {
      text = " At that time: " + setting->text;
      if (!text.ends_with('.')) text += ".";
      return text + " A new setting is no fault.";
    }
    const Cause cause = likely_cause(one);
    const auto& signal = one.levels.signal[0] ? one.levels.signal[0] : one.levels.signal[1];
    const bool lower = signal && signal->difference < 0;
    if (cause == Cause::path)
      text = lower ? " Likely the path: both ways alike and the noise as before, and the leaves of "
                     "the season are not in it: something new stands in the way."
                   : " Likely the path: both ways alike and the noise as before: something no "
                     "longer stands in the way.";
    else if (cause != Cause::none)
      text = " Likely " + std::string(meaning_of(cause)) + ".";
    if (const history::PeriodRecord* work = work_of(one))
      text += " It came with the work of that day" +
              (work->note.empty() ? "" : " (" + work->note + ")") + ".";
    return text;
  }
  const history::PeriodRecord* work_of(const LastingChange& one) const {
    if (one.slow()) return nullptr;
    for (const history::PeriodRecord& work : review_.upkeep)
      if (work.to >= one.from - 24h && work.from <= one.to + 24h) return &work;
    return nullptr;
  }
  const Episode* setting_of(const LastingChange& one) const {
    if (one.slow()) return nullptr;
    for (const Episode& episode : review_.episodes)
      if (episode.alert == AlertName::SettingChanged && episode.from >= one.from - 48h &&
          episode.from <= one.to + 48h)
        return &episode;
    return nullptr;
  }

  /// Water in a plug shows itself in the rain: spells of hours that are more often and larger than
  /// before the change.
  std::string wet_words(std::size_t k) const {
    const LastingChange& one = review_.lasting[k];
    const Cause cause = likely_cause(one);
    const auto& signal = one.levels.signal[0];
    if ((cause != Cause::near_antenna && cause != Cause::far_antenna) || !signal ||
        signal->difference > 0)
      return {};
    const Time end = k + 1 < review_.lasting.size() ? review_.lasting[k + 1].from : review_.to;
    if (k > 0 && likely_cause(review_.lasting[k - 1]) == cause &&
        same_way(review_.lasting[k - 1], one))
      return {};  // told with the first
    Time until = end;
    for (std::size_t next = k + 1;
         next < review_.lasting.size() && same_way(one, review_.lasting[next]); ++next)
      until = next + 1 < review_.lasting.size() ? review_.lasting[next + 1].from : review_.to;
    const Spells during = spells(one.from, until), before = spells(review_.from, one.from);
    const double days = duration_to_seconds(until - one.from) / 86400,
                 days_before = duration_to_seconds(one.from - review_.from) / 86400;
    if (during.count < 2 || days_before < 60 ||
        static_cast<double>(during.count) / days <
            3 * static_cast<double>(before.count) / days_before)
      return {};
    return " While it stood there were " + std::to_string(during.count) +
           " spells of hours with up to " + in_db(during.most_db) + " more, against " +
           (before.count == 0 ? "none" : std::to_string(before.count)) +
           " in all the time before: wet weather makes it worse.";
  }
  struct Spells {
    std::size_t count = 0;
    double most_db = 0;
  };
  Spells spells(Time from, Time to) const {
    Spells out;
    for (const Episode& episode : review_.episodes) {
      const bool loss = episode.cause == Cause::path || episode.cause == Cause::near_antenna ||
                        episode.cause == Cause::far_antenna;
      if (!tells_cause(episode) || !loss || episode.shape == Shape::cycle || !episode.to ||
          *episode.to - episode.from > 48h || episode.from < from || episode.from >= to)
        continue;
      ++out.count;
      out.most_db = std::max(out.most_db, episode.size_db.value_or(0));
    }
    return out;
  }

  /// Several changes whose sum is nothing: the last has undone the others.
  std::string given_back_words(std::size_t k) const {
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& last = review_.lasting[k].levels.signal[d];
      if (!last || last->difference < 1) continue;
      double sum = last->difference;
      for (std::size_t i = k; i-- > 0;) {
        const auto& one = review_.lasting[i].levels.signal[d];
        if (!one) break;
        sum += one->difference;
        if (std::abs(sum) < std::max(0.7, 0.15 * last->difference))
          return " It gave back what had been lost since " + date_words(review_.lasting[i].from) +
                 ".";
      }
    }
    return {};
  }

  bool covered(const Episode& one) const {
    constexpr Duration kNear = 24h * 21;
    for (const LastingChange& change : review_.lasting)
      if (one.from >= change.from - kNear && one.from <= change.to + kNear) {
        const Cause cause = likely_cause(change);
        const bool path = one.cause == Cause::path && (cause == Cause::near_antenna ||
                                                       cause == Cause::far_antenna);
        // An antenna that hears again hears more noise, too.
        const auto& noise = change.levels.noise[cause == Cause::near_antenna ? 0 : 1];
        const bool heard_again = noise && noise->low > 0 &&
                                 ((cause == Cause::near_antenna && one.cause == Cause::near_noise) ||
                                  (cause == Cause::far_antenna && one.cause == Cause::far_noise));
        if (one.cause == cause || path || heard_again) return true;
      }
    for (std::size_t d = 0; d < kDirections; ++d) {
      const Cause cause = d == 0 ? Cause::near_channels : Cause::far_channels;
      for (const NoisyChannels& noisy : review_.directions[d].noisy)
        if (one.cause == cause && one.from >= noisy.from - 31 * 24h && one.from < noisy.to)
          return true;
    }
    return false;
  }
  /// The rise of the leaves, which their own line tells.
  bool is_spring(const Episode& one) const {
    if (one.cause != Cause::path || one.shape != Shape::drift) return false;
    constexpr Duration kEarly = 24h * 24, kLate = 24h * 45;
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (!has_leaves(d) || middle_of(plain_summers(review_.directions[d].leaves)) > 0) continue;
      for (const LeafYear& year : review_.directions[d].leaves)
        if (year.out && one.from >= *year.out - kEarly && one.from <= *year.out + kLate)
          return true;
    }
    return false;
  }

  void episodes() {
    std::vector<const Episode*> told, weather, unseen;
    for (const Episode& one : review_.episodes) {
      if (!tells_cause(one)) continue;
      if (passes_for_weather(one)) {
        weather.push_back(&one);
        continue;
      }
      if (covered(one) || is_spring(one)) continue;
      if (is_unseen(one)) {
        unseen.push_back(&one);
        continue;
      }
      const Duration lasted = one.to.value_or(review_.to) - one.from;
      if (lasted >= kShort || one.size_db.value_or(0) >= kLargeDb) told.push_back(&one);
    }
    tell_weather(weather);
    const std::size_t all = told.size();
    std::ranges::stable_sort(told, [](const Episode* a, const Episode* b) {
      return a->size_db.value_or(0) > b->size_db.value_or(0);
    });
    told.resize(std::min(all, kMostEpisodes));
    std::ranges::stable_sort(told, {}, [](const Episode* one) { return one->from; });
    for (const Episode* one : told) {
      std::string text =
          moment_words(one->from) + (one->shape == Shape::drift ? ", slowly" : "") + ": ";
      if (one->size_db) text += in_db(*one->size_db) + ", ";
      text += meaning_of(one->cause);
      text += ending_of(*one);
      if (!one->text.empty()) text += ". Told at the time: " + one->text;
      if (!text.ends_with('.')) text += ".";
      add("Change", text);
    }
    tell_unseen(unseen);
    if (all > told.size())
      add("Change",
          std::to_string(all - told.size()) + " smaller changes are in the table of events.");
  }

  /// An alert of one end that the days of its time do not bear out: what it says had moved lay as in
  /// the month before. Bursts are too short for the middle of a day.
  bool is_unseen(const Episode& one) const {
    if (!one.to || !one.size_db || *one.to - one.from < 48h || one.shape == Shape::burst ||
        one.shape == Shape::cycle)
      return false;
    const Time day = std::chrono::floor<std::chrono::days>(one.from);
    const auto before = level_of(one.cause, day - 30 * 24h, day),
               during = level_of(one.cause, day + 24h, *one.to);
    return before && during && std::abs(*during - *before) < 0.4 * *one.size_db;
  }
  /// Middle of what the cause would move, weather apart: the difference of the signals, or a noise.
  std::optional<double> level_of(Cause cause, Time from, Time to) const {
    std::vector<double> values;
    if (cause == Cause::near_noise || cause == Cause::far_noise) {
      values = noises_between(digest(cause == Cause::near_noise ? 0 : 1).days, from, to).values;
    } else if (cause == Cause::far_transmit || cause == Cause::near_transmit ||
               cause == Cause::near_receive || cause == Cause::far_receive) {
      const auto in = signals_between(digest(0).days, from, to),
                 out = signals_between(digest(1).days, from, to);
      std::size_t k = 0;
      for (std::size_t i = 0; i < in.size(); ++i) {
        while (k < out.size() && out.days[k] < in.days[i]) ++k;
        if (k < out.size() && out.days[k] == in.days[i])
          values.push_back(in.values[i] - out.values[k]);
      }
    }
    if (values.size() < 2) return {};
    return estimate::median_of(values);
  }
  void tell_unseen(const std::vector<const Episode*>& alerts) {
    if (alerts.empty()) return;
    const bool one = alerts.size() == 1;
    add("Change", std::to_string(alerts.size()) + (one ? " alert" : " alerts") +
                      " of one end's transmitter, receiver or noise, " +
                      date_words(alerts.front()->from) +
                      (one ? "" : " to " + date_words(alerts.back()->from)) +
                      (one ? ", is" : ", are") +
                      " not borne out by the days of that time, which lay as in the month before. "
                      "Likely false.");
  }

  void tell_weather(const std::vector<const Episode*>& spells) {
    if (spells.empty()) return;
    const auto lasted = [](const Episode* one) { return *one->to - one->from; };
    double most = 0;
    const Episode* longest = spells.front();
    for (const Episode* one : spells) {
      most = std::max(most, one->size_db.value_or(0));
      if (lasted(one) > lasted(longest)) longest = one;
    }
    std::string text = std::to_string(spells.size()) +
                       (spells.size() == 1 ? " spell" : " spells") +
                       " of a weaker or unsteady path that passed by " +
                       (spells.size() == 1 ? "itself" : "themselves");
    if (most > 0) text += ", up to " + in_db(most);
    text += spells.size() == 1 ? ", " : "; the longest ";
    text += span_words(lasted(longest)) + " from " + date_words(longest->from) + ".";
    add("Weather", text);
  }

  void settings() {
    std::size_t count = 0;
    for (const Episode& one : review_.episodes) {
      const bool told = std::ranges::any_of(review_.lasting, [&](const LastingChange& change) {
        return setting_of(change) == &one;
      });
      if (one.alert != AlertName::SettingChanged || told || ++count > kMostSettings) continue;
      add("Setting", moment_words(one.from) + ": " + one.text + (one.text.ends_with('.') ? "" : "."));
    }
    if (count > kMostSettings)
      add("Setting", std::to_string(count - kMostSettings) + " more are in the table of events.");
  }

  void comparisons() {
    for (const Comparison& one : review_.comparisons) {
      const std::string margin = margin_words(one);
      if (margin.empty()) continue;
      add("Before and after",
          date_words(one.at == Time{} ? one.after_from : one.at) + ", " + one.what + ": " +
              (one.same_weeks
                   ? "the 60 days after it against the same days a year before" + paired_words(one)
                   : std::string("the 30 days after it against the 30 before")) +
              ", margin " + margin + "." + pattern(one));
    }
    if (!review_.last_weeks) return;
    add("Against last year", "The last 60 days against the same days a year before" +
                                 paired_words(*review_.last_weeks) + ", margin " +
                                 margin_words(*review_.last_weeks) + "." +
                                 pattern(*review_.last_weeks));
  }

  /// A record that is hardly a year long knows few of the days twice.
  static std::string paired_words(const Comparison& one) {
    std::size_t days = 60;
    for (const auto& shift : one.margin)
      if (shift) days = std::min(days, shift->after);
    return days < 50 ? " (" + std::to_string(days) + " days known in both years)" : "";
  }

  /// An alert ends when the level comes back, or when it has become the usual one.
  std::string ending_of(const Episode& one) const {
    if (!one.to) return "; it still stands";
    const auto index = static_cast<std::size_t>(&one - review_.episodes.data());
    const auto step = std::ranges::find(review_.steps, index, &EpisodeShift::episode);
    std::string out =
        "; the alert ended on " + date_words(*one.to) + " after " + span_words(*one.to - one.from);
    if (step == review_.steps.end()) return out;
    const std::string measured =
        "; the days around it show the margin " + margin_words(step->across);
    if (!step->after) return measured + out;
    const auto stayed = [&](std::size_t d) {
      const auto &across = step->across.margin[d], &after = step->after->margin[d];
      return across && after && is_clear(*across) && after->difference / across->difference > 0.5;
    };
    return measured + out +
           (stayed(0) || stayed(1) ? ", but the level has stayed" : ", and the level came back");
  }

  static std::string margin_words(const Comparison& one) {
    if (one.margin[0] && one.margin[1] && !clear(one))
      return "either way without a difference that can be told from the weather (inbound " +
             in_db(one.margin[0]->low) + " to " + in_db(one.margin[0]->high) + ", outbound " +
             in_db(one.margin[1]->low) + " to " + in_db(one.margin[1]->high) + ")";
    return both_ways_words(
        [&](std::size_t d) { return one.margin[d] ? shift_words(*one.margin[d]) : std::string(); });
  }
  static bool clear(const Comparison& one) {
    return std::ranges::any_of(one.margin,
                               [](const auto& shift) { return shift && is_clear(*shift); });
  }

  static std::string pattern(const Comparison& one) {
    const Cause cause = clear(one) ? likely_cause(one) : Cause::none;
    return cause == Cause::none ? ""
                                : " The pattern of signal and noise points to " +
                                      std::string(meaning_of(cause)) + ".";
  }

  void noisy_channels() {
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& all = review_.directions[d].noisy;
      for (std::size_t i = 0; i < std::min(all.size(), kMostNoisy); ++i) {
        const NoisyChannels& one = all[i];
        const bool single = one.channels.size() == 1;
        const Time last = one.to - 24h;
        const std::string months =
            month_words(one.from) == month_words(last)
                ? "in " + month_words(one.from)
                : "from " + month_words(one.from) + " to " + month_words(last);
        add("Channels",
            capital(kWay[d]) + ": hop channel" + (single ? " " : "s ") +
                channel_words(one.channels) + (single ? " was" : " were") + " up to " +
                in_db(one.most_db) + " noisier than usual " + months +
                (one.standing ? ", the last month of the record: " : ": ") +
                std::string(meaning_of(d == 0 ? Cause::near_channels : Cause::far_channels)) + ".");
      }
      if (all.size() > kMostNoisy)
        add("Channels", capital(kWay[d]) + ": " + std::to_string(all.size() - kMostNoisy) +
                            " more such times.");
    }
  }

  void channels() {
    for (std::size_t d = 0; d < kDirections; ++d) {
      std::vector<unsigned> noisy;
      for (const ChannelRow& row : digest(d).channels)
        if (row.last_noise_offset_db.value_or(row.noise_offset_db) >= kNoisyDb)
          noisy.push_back(row.channel);
      const std::size_t count = noisy.size();
      const bool told = std::ranges::any_of(review_.directions[d].noisy, &NoisyChannels::standing);
      if (count == 0 || told) continue;
      add("Channels", capital(kWay[d]) + ": " + std::to_string(count) + " of " +
                          std::to_string(digest(d).channels.size()) + " hop channels " +
                          (count == 1 ? "was" : "were") + " more than " + in_db(kNoisyDb) +
                          " noisier than the others in the last month (" +
                          channel_words(noisy) + ").");
    }
  }

  void availability() {
    const LinkPerformance& all = review_.performance;
    if (!all.interval) return;
    const auto share = all.total[kBothWays].availability();
    if (!share) return;
    const std::string way = !all.known[1]   ? "inbound (nothing is known of outbound)"
                            : !all.known[0] ? "outbound (nothing is known of inbound)"
                                            : "both ways";
    std::string text = "Available " + in_percent(*share, 3) + " of the time " + way +
                       ", on intervals of " + span_words(*all.interval) + "; ";
    const auto severe = static_cast<std::int64_t>(all.total[kBothWays].severely_errored);
    if (severe > 0)
      text += span_words(*all.interval * severe) + " of available time severely errored; ";
    text += all.outages.empty() ? "no outage."
                                : std::to_string(all.outages.size()) +
                                      (all.outages.size() == 1 ? " outage." : " outages.");
    std::vector<const Outage*> longest;
    for (const Outage& one : all.outages) longest.push_back(&one);
    std::ranges::stable_sort(
        longest, [](const Outage* a, const Outage* b) { return a->unavailable > b->unavailable; });
    longest.resize(std::min(longest.size(), kMostOutages));
    for (const Outage* one : longest)
      text += " " + moment_words(one->from) + ", " + span_words(one->unavailable) +
              (one->direction
                   ? std::string(", ") + kWay[static_cast<std::size_t>(*one->direction)] + " only"
                   : "") +
              ": " + std::string(meaning_of(one->cause)) + ".";
    add("Availability", text);
  }

  void record() {
    std::string text =
        date_words(review_.from) + " to " + date_words(review_.to) +
        ". Days with data: " + both_ways_words([&](std::size_t d) {
          return digest(d).empty() ? std::string() : std::to_string(digest(d).days.size());
        }) +
        ".";
    for (std::size_t d = 0; d < kDirections; ++d)
      if (digest(d).noise_source == NoiseSource::assumed)
        text += " " + capital(kWay[d]) +
                " noise is assumed, not measured: interference cannot be seen in this margin.";
    add("Record", text);
  }

  const LinkReview& review_;
  std::vector<StoryLine> out_;
};

}  // namespace

std::vector<StoryLine> story_of(const LinkReview& review) { return Story(review).tell(); }

}  // namespace fadeward::review
