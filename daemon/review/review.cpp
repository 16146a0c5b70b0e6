#include "fadeward/review/review.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>

#include "fadeward/base/settings.hpp"
#include "fadeward/review/undated.hpp"
#include "fadeward/review/words.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;
using history::PeriodKind;
using history::PeriodRecord;

constexpr Duration kWindow = 24h * 30;       ///< before and after a date
constexpr Duration kLastWeeks = 24h * 60;    ///< held against the year before
constexpr Duration kLeastLasting = 24h * 7;  ///< of a change that daily values can show
constexpr double kLeastChangeDb = 2;
constexpr std::size_t kMostComparisons = 24;

struct Bounds {
  Time from{};
  Time to{};
};

/// What was asked for, within what there is of any link and of the program's life.
std::optional<Bounds> bounds_of(history::Reader& reader, const Question& question) {
  const auto extent = reader.extent();
  if (!extent) return {};
  const Bounds out{std::max(question.from.value_or(extent->first), extent->first),
                   std::min(question.to.value_or(extent->second), extent->second)};
  if (out.from >= out.to) return {};
  return out;
}

Evidence evidence_of(const std::vector<history::MarkRecord>& marks,
                     const std::vector<history::EventRecord>& events) {
  Evidence out;
  for (const auto& mark : marks) out.push_back(mark.time);
  for (const auto& event : events) out.push_back(event.time);
  std::ranges::sort(out);
  return out;
}

Upkeep all_upkeep(const Periods& recorded, const Question& question, const Bounds& bounds) {
  return upkeep_of(recorded, question.context.upkeep, bounds.from, bounds.to);
}

/// Upkeep or baselines of all that is recorded.
Periods of_kind(const Periods& all, PeriodKind kind) {
  Periods out;
  std::ranges::copy_if(all, std::back_inserter(out),
                       [kind](const PeriodRecord& one) { return one.kind == kind; });
  return out;
}

/// The last bin is no sign of the end: where a link went quiet, events and marks come after it.
Time long_after(const Bounds& bounds) { return bounds.to + 24h * 400; }

std::vector<history::EventRecord> events_of(history::Reader& reader, const Question& question,
                                            const Bounds& bounds) {
  auto all = reader.events(bounds.from, question.to.value_or(long_after(bounds)));
  // Those of a port concern every link; the history does not say which links are on it.
  std::erase_if(all, [&](const history::EventRecord& one) {
    return !one.link.empty() && one.link != question.link;
  });
  return all;
}

LinkPerformance performance_of(history::Reader& reader, const Question& question, Bounds bounds,
                               const std::array<const std::vector<Slot>*, kDirections>& slots,
                               const std::vector<history::EventRecord>& events,
                               const std::vector<Episode>& episodes,
                               const Upkeep& upkeep) {
  // Before a link was first heard it did not exist.
  if (!question.from) {
    Time first = Time::max();
    for (const auto* some : slots)
      if (!some->empty()) first = std::min(first, some->front().from);
    if (first != Time::max()) bounds.from = std::max(bounds.from, first);
  }
  PerformanceInput input;
  input.slots = slots;
  const auto marks = reader.marks(bounds.from, long_after(bounds));
  // Silence counts until the last sign of life of the program, whoever gave it.
  Time alive = question.alive.value_or(bounds.to);
  if (!marks.empty()) alive = std::max(alive, marks.back().time);
  if (!events.empty()) alive = std::max(alive, events.back().time);
  bounds.to = std::max(bounds.to, question.to ? std::min(alive, *question.to) : alive);
  input.gaps = gaps_of(marks, evidence_of(marks, events), slots, bounds.from, bounds.to);
  input.upkeep = upkeep.periods;
  input.episodes = &episodes;
  input.from = bounds.from;
  input.to = bounds.to;
  LinkPerformance out = link_performance(input);
  out.upkeep_differences = upkeep.differences;
  out.undated = undated_of(marks);
  return out;
}

/// Thirty days on both sides, and sixty after against the same days of the year before.
void compare_around(const DaysOfBoth& days, const std::string& what, Time from, Time to,
                    std::vector<Comparison>& out) {
  if (out.size() >= kMostComparisons) return;
  const Time day_from = std::chrono::floor<std::chrono::days>(from);
  const Time day_to = std::chrono::ceil<std::chrono::days>(to);
  Comparison near = compare(days, what, day_from - kWindow, day_from, day_to, day_to + kWindow);
  near.at = from;
  if (near.known()) out.push_back(std::move(near));
  Comparison year = compare_with_year_before(days, what, day_to, day_to + kLastWeeks);
  year.at = from;
  if (year.known()) out.push_back(std::move(year));
}

std::vector<EpisodeShift> steps_of(const LinkReview& review, const DaysOfBoth& days) {
  std::vector<EpisodeShift> out;
  for (std::size_t i = 0; i < review.episodes.size() && out.size() < kMostComparisons; ++i) {
    const Episode& one = review.episodes[i];
    const Time end = one.to.value_or(review.to);
    const bool shows = tells_cause(one) && one.shape == Shape::step &&
                       one.size_db.value_or(0) >= kLeastChangeDb && end - one.from >= kLeastLasting;
    if (!shows) continue;
    // The day of the change lies on neither side.
    const Time day = std::chrono::floor<std::chrono::days>(one.from);
    EpisodeShift step;
    step.episode = i;
    step.across = compare(days, std::string(meaning_of(one.cause)), day - kWindow, day, day + 24h,
                          std::min(end, day + kWindow));
    if (!step.across.known()) continue;
    if (one.to) {
      const Time over = std::chrono::ceil<std::chrono::days>(*one.to);
      step.after = compare(days, step.across.what, day - kWindow, day, over, over + kWindow);
      if (!step.after->known()) step.after.reset();
    }
    out.push_back(std::move(step));
  }
  return out;
}

/// What stays, what goes with the season, and what goes on and on: each with the others taken out.
void look_long(LinkReview& review, const Question& question) {
  review.season = question.leaves;
  review.lasting =
      lasting_changes({&review.directions[0].digest.days, &review.directions[1].digest.days},
                      question.leaves);
  const double warning_db =
      question.context.warning_db.value_or(*AlertSettings{}.margin_db.warning);
  for (std::size_t d = 0; d < kDirections; ++d) {
    DirectionReview& one = review.directions[d];
    one.trend = long_trend(one.digest.days, one.digest.months, warning_db);
    if (one.trend.season_known && !review.lasting.empty()) {
      const LongTrend rest =
          long_trend(one.digest.days, without_changes(one.digest.months, d, review.lasting), {});
      one.trend.db_per_year = rest.db_per_year;
      // How sure the sizes of the changes are, so sure is what is left without them.
      double doubt = 0;
      for (const LastingChange& change : review.lasting)
        if (const auto& size = change.levels.margin[d]) doubt += (size->high - size->low) / 2;
      const auto& rows = one.digest.days;
      doubt /= std::max(1.0, rows.empty() ? 1.0
                                          : duration_to_seconds(rows.back().to - rows.front().from) /
                                                86400 / 365.25);
      one.trend.low = rest.low - doubt;
      one.trend.high = rest.high + doubt;
      one.trend.p = one.trend.low <= 0 && one.trend.high >= 0 ? std::max(rest.p, 0.05) : rest.p;
    }
    const double slope = one.trend.season_known && one.trend.p < 0.05
                             ? one.trend.db_per_year.value_or(0)
                             : 0;
    one.leaves = leaf_years(without_changes(one.digest.days, d, review.lasting, slope),
                            question.leaves);
  }
}

void compare_all(LinkReview& review, const Question& question) {
  const DaysOfBoth days = {&review.directions[0].digest.days, &review.directions[1].digest.days};
  if (question.split)
    compare_around(days, "the date asked for", *question.split, *question.split,
                   review.comparisons);
  for (const PeriodRecord& one : review.upkeep)
    compare_around(days, one.note.empty() ? "upkeep" : one.note, one.from, one.to,
                   review.comparisons);
  review.steps = steps_of(review, days);
  Comparison last =
      compare_with_year_before(days, "the last 60 days", review.to - kLastWeeks, review.to);
  if (last.known()) review.last_weeks = std::move(last);
}

}  // namespace

Cause likely_cause(const Comparison& comparison, double least_noise_db) {
  const auto step = [](const std::optional<estimate::Shift>& shift, double least_db) {
    if (!shift || shift->p > 0.01 || !is_clear(*shift) || std::abs(shift->difference) < least_db)
      return 0.0;
    return shift->difference;
  };
  const double in = step(comparison.signal[0], 1), back = step(comparison.signal[1], 1);
  const double near = step(comparison.noise[0], least_noise_db),
               far = step(comparison.noise[1], least_noise_db);
  const auto alike = [](double a, double b) {
    return a * b > 0 && std::abs(a - b) < 0.5 * std::max(std::abs(a), std::abs(b));
  };
  if (in * back > 0) {
    if (alike(in, back) && near * in > 0 && far == 0) return Cause::near_antenna;
    if (alike(in, back) && far * in > 0 && near == 0) return Cause::far_antenna;
    return alike(in, back) ? Cause::path : Cause::none;
  }
  if (in != 0 && back == 0) return alike(in, near) ? Cause::near_receive : Cause::far_transmit;
  if (back != 0 && in == 0) return alike(back, far) ? Cause::far_receive : Cause::near_transmit;
  if (in == 0 && back == 0 && near > 0 && near >= far) return Cause::near_noise;
  if (in == 0 && back == 0 && far > 0) return Cause::far_noise;
  return Cause::none;
}

Cause likely_cause(const LastingChange& change) {
  constexpr double kLeastNoiseDb = 0.5;
  return likely_cause(change.levels, kLeastNoiseDb);
}

LinkReview review_link(history::Reader& reader, const Question& question) {
  LinkReview out;
  out.link = question.link;
  out.context = question.context;
  const auto bounds = bounds_of(reader, question);
  if (!bounds) {
    out.problems = reader.problems();
    out.story = story_of(out);
    return out;
  }
  const Periods recorded = reader.periods(bounds->from, bounds->to, question.link);
  const Upkeep upkeep = all_upkeep(recorded, question, *bounds);
  out.upkeep = upkeep.periods;
  out.baselines = of_kind(recorded, PeriodKind::baseline);
  for (std::size_t d = 0; d < kDirections; ++d) {
    Progress part;
    if (question.progress)
      part = [&, d](double share) {
        question.progress((static_cast<double>(d) + share) / kDirections);
      };
    DirectionReview& one = out.directions[d];
    one.digest =
        digest(reader, question.link, static_cast<Direction>(d), bounds->from, bounds->to,
               out.upkeep, part);
    one.years = years_of(one.digest.days);
    one.noisy = noisy_channels(one.digest.channel_months);
  }
  look_long(out, question);
  for (const DirectionReview& one : out.directions) {
    if (one.digest.empty()) continue;
    const Time first = one.digest.slots.front().from,
               last = one.digest.slots.back().from + one.digest.slots.back().span;
    out.from = out.from == Time{} ? first : std::min(out.from, first);
    out.to = std::max(out.to, last);
  }
  const auto events = events_of(reader, question, *bounds);
  out.episodes = episodes_of(events);
  compare_all(out, question);
  if (!out.empty())
    out.performance =
        performance_of(reader, question, *bounds,
                       {&out.directions[0].digest.slots, &out.directions[1].digest.slots}, events,
                       out.episodes, upkeep);
  out.problems = reader.problems();
  out.story = story_of(out);
  // Megabytes that only the performance needed; a hundred links are reviewed in one go.
  for (DirectionReview& one : out.directions) one.digest.slots = {};
  return out;
}

LinkPerformance report_link(history::Reader& reader, const Question& question) {
  const auto bounds = bounds_of(reader, question);
  if (!bounds) return {};
  const Upkeep upkeep = all_upkeep(reader.periods(bounds->from, bounds->to, question.link),
                                   question, *bounds);
  const UpkeepTimes times(upkeep.periods);
  std::array<std::vector<Slot>, kDirections> slots;
  for (std::size_t d = 0; d < kDirections; ++d)
    reader.bins(question.link, static_cast<Direction>(d), bounds->from, bounds->to,
                [&](const history::Summary& bin) {
                  if (bin.quarters > 0) slots[d].push_back(slot_of(bin, times));
                });
  const auto events = events_of(reader, question, *bounds);
  return performance_of(reader, question, *bounds, {&slots[0], &slots[1]}, events,
                        episodes_of(events), upkeep);
}

}  // namespace fadeward::review
