// What happened to a link, told from its tables.
#include <algorithm>
#include <cmath>
#include <iterator>

#include "fadeward/estimate/median.hpp"
#include "fadeward/review/review.hpp"
#include "fadeward/review/words.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

constexpr std::array<const char*, kDirections> kWay = {"inbound", "outbound"};
constexpr std::size_t kMostEpisodes = 10;
constexpr std::size_t kMostOutages = 3;
constexpr Duration kShort = 24h;  ///< an episode below this is weather unless it is large
constexpr double kLargeDb = 6;
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

const SpanRow* weakest_month(const std::vector<SpanRow>& months) {
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
    episodes();
    comparisons();
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

  void outlook() {
    for (std::size_t d = 0; d < kDirections; ++d) {
      const LongTrend& trend = review_.directions[d].trend;
      if (!trend.db_per_year) continue;
      std::string text = capital(kWay[d]) + ": ";
      const bool clear = trend.p < 0.05 && (trend.low > 0 || trend.high < 0);
      if (!trend.season_known)
        text += clear ? "the margin " + std::string(*trend.db_per_year < 0 ? "fell" : "rose") +
                            " by " + in_db(std::abs(*trend.db_per_year) * length_years(d)) +
                            " over the record; less than two years do not tell a season from a "
                            "trend"
                      : std::string(
                            "no trend over the record; less than two years do not tell a season "
                            "from a trend");
      else
        text += clear ? "with the season taken out the margin " +
                            std::string(*trend.db_per_year < 0 ? "falls" : "rises") + " by " +
                            in_db(std::abs(*trend.db_per_year)) + " a year (" +
                            in_db(std::min(std::abs(trend.low), std::abs(trend.high))) + " to " +
                            in_db(std::max(std::abs(trend.low), std::abs(trend.high))) + ")"
                      : std::string("with the season taken out there is no trend over the years");
      if (clear && !review_.steps.empty()) text += ", the changes told below included";
      if (trend.crossing) text += "; " + crossing_words(*trend.crossing);
      add("Trend", text + ".");
    }
  }

  void leaves() {
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& years = review_.directions[d].leaves;
      if (years.empty()) continue;
      std::vector<LeafYear> plain;
      std::ranges::copy_if(years, std::back_inserter(plain), &LeafYear::alone);
      if (plain.empty()) plain = years;
      const auto clear = std::ranges::count_if(
          plain, [](const LeafYear& one) { return is_clear(one.margin) && one.margin.p < 0.01; });
      std::vector<double> sizes;
      for (const LeafYear& one : plain) sizes.push_back(one.margin.difference);
      const double middle = estimate::median_of(sizes);
      std::string text = capital(kWay[d]) + ": ";
      if (clear * 2 <= static_cast<std::ptrdiff_t>(plain.size()) || std::abs(middle) < 0.5) {
        add("Leaves", text + "summer and winter margins do not differ beyond the weather.");
        continue;
      }
      text += "in summer the margin is " + in_db(std::abs(middle)) +
              (middle < 0 ? " lower" : " higher") +
              (std::ranges::any_of(plain, &LeafYear::both_sides)
                   ? " than in the winters around it"
                   : " than in the one winter beside it (a slow change is in that figure)");
      if (years.size() > 1) {
        text += " (";
        for (const LeafYear& one : years)
          text += (text.ends_with("(") ? "" : "; ") + std::to_string(one.year) + ": " +
                  in_db(one.margin.difference) + (one.alone() ? "" : ", other changes in it");
        text += ")";
        const LeafYear &last = years.back(), &before = years[years.size() - 2];
        const bool worse =
            last.margin.high<before.margin.low, better = last.margin.low> before.margin.high;
        if (last.both_sides && before.both_sides && last.alone() && before.alone() &&
            (worse || better))
          text += "; " + std::to_string(last.year) + " cost " +
                  in_db(std::abs(last.margin.difference - before.margin.difference)) +
                  (worse ? " more" : " less") + " than " + std::to_string(before.year);
      }
      add("Leaves",
          text + (middle < 0
                      ? ". Trim or raise before the next spring where the summer margin is thin."
                      : "."));
    }
  }

  void episodes() {
    std::vector<const Episode*> told;
    for (const Episode& one : review_.episodes) {
      if (!tells_cause(one)) continue;
      const Duration lasted = one.to.value_or(review_.to) - one.from;
      if (lasted >= kShort || one.size_db.value_or(0) >= kLargeDb) told.push_back(&one);
    }
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
    if (all > told.size())
      add("Change",
          std::to_string(all - told.size()) + " smaller changes are in the table of events.");
  }

  void comparisons() {
    for (const Comparison& one : review_.comparisons) {
      const std::string margin = margin_words(one);
      if (margin.empty()) continue;
      add("Before and after",
          date_words(one.after_from) + ", " + one.what + ": " +
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

  void channels() {
    for (std::size_t d = 0; d < kDirections; ++d) {
      std::string names;
      std::size_t count = 0;
      for (const ChannelRow& row : digest(d).channels) {
        if (row.last_noise_offset_db.value_or(row.noise_offset_db) < kNoisyDb) continue;
        if (++count > 12) continue;
        names += (names.empty() ? "" : ", ") + std::to_string(row.channel);
      }
      if (count == 0) continue;
      add("Channels", capital(kWay[d]) + ": " + std::to_string(count) + " of " +
                          std::to_string(digest(d).channels.size()) + " hop channels " +
                          (count == 1 ? "was" : "were") + " more than " + in_db(kNoisyDb) +
                          " noisier than the others in the last month (" + names +
                          (count > 12 ? ", ..." : "") + ").");
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
