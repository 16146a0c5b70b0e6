// What happened to a link, told from its tables.
#include <algorithm>
#include <cmath>
#include <span>

#include "fadeward/estimate/median.hpp"
#include "fadeward/review/undated.hpp"
#include "fadeward/review/words.hpp"
#include "story_parts.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

constexpr std::size_t kMostOutages = 3;
constexpr std::size_t kMostNoisy = 6;
constexpr double kLeastDbPerYear = 0.15;  ///< less is no trend that anybody acts on
constexpr double kNoisyDb = 2;            ///< a channel above the others

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

class Story : StoryPart {
 public:
  using StoryPart::StoryPart;

  void tell() {
    if (review_.empty()) {
      add("Record", "There is no data of this link in the period.");
      return;
    }
    level();
    outlook();
    tell_leaves(review_, story_);
    tell_lasting_changes(review_, story_);
    tell_episodes(review_, story_);
    comparisons();
    noisy_channels();
    channels();
    availability();
    undated();
    record();
  }

 private:
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
      if (clear && !(review_.steps.empty() && review_.lasting.empty()))
        text += ", the changes told below included";
      text += "; less than two years do not tell a season from a trend";
    } else {
      text = review_.lasting.empty() ? "with the season taken out "
                                     : "with the season and the changes told below taken out ";
      text += clear
                  ? "the margin " + std::string(falls ? "falls" : "rises") + " by " +
                        in_small_db(std::abs(*trend.db_per_year)) + " a year (" +
                        in_small_db(std::min(std::abs(trend.low), std::abs(trend.high))) + " to " +
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
    add("Against last year",
        "The last 60 days against the same days a year before" + paired_words(*review_.last_weeks) +
            ", margin " + margin_words(*review_.last_weeks) + "." + pattern(*review_.last_weeks));
  }

  /// A record that is hardly a year long knows few of the days twice.
  static std::string paired_words(const Comparison& one) {
    std::size_t days = 60;
    for (const auto& shift : one.margin)
      if (shift) days = std::min(days, shift->after);
    return days < 50 ? " (" + std::to_string(days) + " days known in both years)" : "";
  }

  static std::string pattern(const Comparison& one) {
    const Cause cause = margin_moved(one) ? likely_cause(one) : Cause::none;
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
                          " noisier than the others in the last month (" + channel_words(noisy) +
                          ").");
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

  void undated() {
    for (const history::MarkRecord& one : review_.performance.undated)
      add("Undated", undated_words(one));
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
};

}  // namespace

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z')
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

std::string margin_words(const Comparison& one) {
  if (one.margin[0] && one.margin[1] && !margin_moved(one))
    return "either way without a difference that can be told from the weather (inbound " +
           in_db(one.margin[0]->low) + " to " + in_db(one.margin[0]->high) + ", outbound " +
           in_db(one.margin[1]->low) + " to " + in_db(one.margin[1]->high) + ")";
  return both_ways_words(
      [&](std::size_t d) { return one.margin[d] ? shift_words(*one.margin[d]) : std::string(); });
}

bool margin_moved(const Comparison& one) {
  return std::ranges::any_of(one.margin,
                             [](const auto& shift) { return shift && is_clear(*shift); });
}

std::vector<StoryLine> story_of(const LinkReview& review) {
  std::vector<StoryLine> story;
  Story(review, story).tell();
  return story;
}

}  // namespace fadeward::review
