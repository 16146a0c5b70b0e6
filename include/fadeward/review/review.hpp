// The whole review of one link: tables and sentences, nothing drawn.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/review/lasting_change.hpp"
#include "fadeward/review/link_performance.hpp"
#include "fadeward/review/long_trend.hpp"
#include "fadeward/review/season.hpp"
#include "fadeward/review/upkeep.hpp"

namespace fadeward::review {

/// What the configuration knows and the history does not.
struct LinkContext {
  std::optional<double>
      warning_db;  ///< thresholds of the margin; the forecast takes the usual one where it is empty
  std::optional<double> critical_db;
  std::array<std::optional<double>, kDirections> budget_margin_db;
  std::optional<Periods> upkeep;  ///< empty: no configuration, or the link is not in it
};

struct Question {
  std::string link;
  std::optional<Time> from;  ///< empty: as far as the history goes
  std::optional<Time> to;
  std::optional<Time> alive;  ///< the program runs at this moment: silence until then is silence
  std::optional<Time> split;  ///< compare before and after this moment too
  LinkContext context;
  LeafSeason leaves;
  Progress progress;
};

struct DirectionReview {
  Digest digest;  ///< without its slots
  std::vector<YearLine> years;
  /// Leaves and slope are those of the days without the changes that stayed; the forecast is that of
  /// the days as they are.
  std::vector<LeafYear> leaves;
  LongTrend trend;
  std::vector<NoisyChannels> noisy;
};

/// One thing that a person should know: "Leaves: with leaves the inbound margin is ...".
struct StoryLine {
  std::string topic;
  std::string text;
};

/// A step that was told, as the days around it show it.
struct EpisodeShift {
  std::size_t episode = 0;          ///< index into LinkReview::episodes
  Comparison across;                ///< the days before it against those after it began
  std::optional<Comparison> after;  ///< before it against after the alert had ended: did it stay?
};

struct LinkReview {
  std::string link;
  Time from{};  ///< of the data found
  Time to{};
  LinkContext context;
  LeafSeason season;
  std::array<DirectionReview, kDirections> directions;
  std::vector<LastingChange> lasting;  ///< in order
  std::vector<Episode> episodes;  ///< of this link and of ports
  std::vector<history::PeriodRecord> upkeep;  ///< recorded or configured; see upkeep_of
  std::vector<history::PeriodRecord> baselines;
  std::vector<Comparison> comparisons;   ///< work and dates, each on both sides and by year
  std::vector<EpisodeShift> steps;       ///< of the larger steps among the episodes
  std::optional<Comparison> last_weeks;  ///< against the same days a year before
  LinkPerformance performance;
  std::vector<StoryLine> story;
  std::vector<std::string> problems;  ///< what could not be read

  bool empty() const { return directions[0].digest.empty() && directions[1].digest.empty(); }
};

/// Never fails: without data in the period the review is empty and its story says so.
LinkReview review_link(history::Reader& reader, const Question& question);

/// Performance alone, which needs neither seasons nor trends.
LinkPerformance report_link(history::Reader& reader, const Question& question);

/// What likely made the levels change so, from the pattern of what rose and fell. none: too small,
/// or no pattern. Noise that moved less than `least_noise_db` has not moved.
Cause likely_cause(const Comparison& comparison, double least_noise_db = 1);
/// The same of a change that stayed: months tell smaller moves of the noise than weeks do.
Cause likely_cause(const LastingChange& change);

/// What happened to the link, the most important first.
std::vector<StoryLine> story_of(const LinkReview& review);

}  // namespace fadeward::review
