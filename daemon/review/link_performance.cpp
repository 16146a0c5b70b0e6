#include "fadeward/review/link_performance.hpp"

#include <algorithm>

#include "fadeward/estimate/median.hpp"
#include "fadeward/history/month.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

constexpr std::size_t kMostIntervals = 2'000'000;  ///< 57 years of quarter hours

/// Frames a day of a direction while it was heard: the middle of its days.
double frames_per_day(const std::vector<Slot>& slots) {
  std::vector<double> days;
  std::optional<Time> day;
  for (const Slot& slot : slots) {
    const Time on = std::chrono::floor<std::chrono::days>(slot.from);
    if (day != on) days.push_back(0);
    day = on;
    days.back() += slot.frames + slot.lost;
  }
  return estimate::median_of(days);
}

Duration longest_slot(const std::vector<Slot>& slots) {
  Duration out = kBinSpan;
  for (const Slot& slot : slots) out = std::max(out, slot.span);
  return out;
}

struct Counts {
  std::uint64_t frames = 0;
  std::uint64_t lost = 0;
  bool upkeep = false;
};

class Grid {
 public:
  Grid(Time from, Time to, Duration step) : step_(step) {
    first_ = Time{from.time_since_epoch() / step * step};
    const auto wanted = static_cast<std::size_t>(
        std::max<std::int64_t>(0, (to - first_ + step - Duration{1}) / step));
    size_ = std::min(wanted, kMostIntervals);
  }
  std::size_t size() const { return size_; }
  Time begin_of(std::size_t i) const { return first_ + step_ * static_cast<std::int64_t>(i); }
  /// `size()` for what lies outside.
  std::size_t place(Time at) const {
    if (at < first_) return 0;
    return std::min(size_, static_cast<std::size_t>((at - first_) / step_));
  }
  Duration step() const { return step_; }

  std::vector<Counts> counts(const std::vector<Slot>& slots) const {
    std::vector<Counts> out(size_);
    for (const Slot& slot : slots) {
      const std::size_t i = place(slot.from);
      if (i >= size_ || slot.from < first_) continue;
      out[i].frames += slot.frames;
      out[i].lost += slot.lost;
      out[i].upkeep |= slot.upkeep;
    }
    return out;
  }

  /// Whether the spans, in order of `from`, cover more than half of each interval. They may overlap.
  template <class Spans>
  std::vector<bool> mostly(const Spans& spans) const {
    std::vector<Duration> covered(size_);
    Time counted = first_;  // up to here
    for (const auto& span : spans) {
      const Time from = std::max(span.from, counted);
      for (std::size_t i = place(from); i < size_ && begin_of(i) < span.to; ++i)
        covered[i] += std::max(
            Duration{}, std::min(span.to, begin_of(i) + step_) - std::max(from, begin_of(i)));
      counted = std::max(counted, span.to);
    }
    std::vector<bool> out(size_);
    for (std::size_t i = 0; i < size_; ++i) out[i] = covered[i] * 2 > step_;
    return out;
  }

 private:
  Time first_{};
  Duration step_;
  std::size_t size_ = 0;
};

IntervalState state_of(const Counts& own, const Counts& other, bool gap, bool upkeep) {
  if (upkeep || own.upkeep) return IntervalState::upkeep;
  if (own.frames == 0) {
    if (own.lost == 0 && (gap || other.frames > 0)) return IntervalState::no_data;
    return IntervalState::severely_errored;
  }
  const double ratio = static_cast<double>(own.lost) / static_cast<double>(own.frames + own.lost);
  if (ratio >= kSevereLossRatio) return IntervalState::severely_errored;
  return own.lost > 0 ? IntervalState::errored : IntervalState::good;
}

/// Whether an outage of the direction overlaps the run.
bool touches(const Judged& judged, const UnavailableRun& run) {
  return std::ranges::any_of(judged.runs, [&](const UnavailableRun& one) {
    return one.first < run.end && run.first < one.end;
  });
}

}  // namespace

void tell_cause(Outage& outage, const std::vector<Episode>& episodes) {
  constexpr Duration kEarlier = 2h;  // what was seen before the link went quiet
  const Episode* best = nullptr;
  const auto rank = [&](const Episode& one) {
    const bool cause = one.cause != Cause::none && one.cause != Cause::silent;
    const bool own = !one.direction || !outage.direction || one.direction == outage.direction;
    return (cause                        ? 4
            : one.cause == Cause::silent ? 1
                                         : 0) +
           (own ? 1 : 0) + (tells_cause(one) ? 1 : 0) + (one.severity >= Severity::warning ? 1 : 0);
  };
  // What began near its end is what the outage left behind: losses of the time it took.
  const Time latest = outage.from + (outage.to - outage.from) / 2;
  for (const Episode& one : episodes) {
    const bool stood = one.from < latest && (!one.to || *one.to > outage.from - kEarlier);
    // Less margin than the budget promised may still be plenty: that is no reason for an outage.
    if (!stood || one.severity < Severity::info || one.alert == AlertName::BudgetDeficit) continue;
    if (best == nullptr || rank(one) > rank(*best) ||
        (rank(one) == rank(*best) && one.from > best->from))
      best = &one;
  }
  if (best == nullptr) return;
  outage.cause = best->cause;
  outage.text = best->text;
}

LinkPerformance link_performance(const PerformanceInput& input) {
  LinkPerformance out;
  out.from = input.from;
  out.to = input.to;
  static const std::vector<Slot> kNone;
  std::array<const std::vector<Slot>*, kDirections> slots{};
  double least_frames = 0;
  Duration longest = kBinSpan;
  for (std::size_t d = 0; d < kDirections; ++d) {
    slots[d] = input.slots[d] ? input.slots[d] : &kNone;
    const double frames = frames_per_day(*slots[d]);
    out.known[d] = frames > 0;
    if (frames > 0) least_frames = least_frames == 0 ? frames : std::min(least_frames, frames);
    longest = std::max(longest, longest_slot(*slots[d]));
    out.loss_known[d] = std::ranges::any_of(*slots[d], &Slot::loss_known);
  }
  out.interval = interval_for(least_frames, longest);
  if (!out.interval) return out;

  const Grid grid(input.from, input.to, *out.interval);
  const auto gap = grid.mostly(input.gaps), upkeep = grid.mostly(input.upkeep);
  const std::array<std::vector<Counts>, kDirections> counts = {grid.counts(*slots[0]),
                                                               grid.counts(*slots[1])};
  std::array<std::vector<IntervalState>, kDirections + 1> states;
  std::array<Judged, kDirections + 1> judged;
  for (std::size_t d = 0; d < kDirections; ++d) {
    states[d].assign(grid.size(), IntervalState::no_data);
    if (out.known[d])
      for (std::size_t i = 0; i < grid.size(); ++i)
        states[d][i] = state_of(counts[d][i], counts[1 - d][i], gap[i], upkeep[i]);
    judged[d] = judge_intervals(states[d]);
  }
  states[kBothWays] = worse_of(states[0], states[1]);
  judged[kBothWays] = both_ways(judged[0], judged[1], states[kBothWays]);

  for (std::size_t k = 0; k < states.size(); ++k)
    out.total[k] = tally(states[k], judged[k], 0, grid.size());
  for (history::Month month = history::month_of(input.from); month.begin() < input.to;
       month = month.next()) {
    PerformanceMonth row{month.begin(), month.end(), {}};
    // An interval belongs to the month in which it begins.
    const auto place = [&](Time at) {
      std::size_t i = grid.place(at);
      return i < grid.size() && grid.begin_of(i) < at ? i + 1 : i;
    };
    for (std::size_t k = 0; k < states.size(); ++k)
      row.tallies[k] = tally(states[k], judged[k], place(row.from), place(row.to));
    out.months.push_back(row);
  }
  for (const UnavailableRun& run : judged[kBothWays].runs) {
    Outage outage;
    outage.from = grid.begin_of(run.first);
    outage.to = grid.begin_of(run.end);
    outage.open = run.open;
    outage.unavailable =
        *out.interval *
        static_cast<std::int64_t>(
            tally(states[kBothWays], judged[kBothWays], run.first, run.end).unavailable);
    const bool in = touches(judged[0], run), back = touches(judged[1], run);
    if (in != back)
      outage.direction = in ? Direction::inbound : Direction::outbound;
    if (input.episodes) tell_cause(outage, *input.episodes);
    out.outages.push_back(std::move(outage));
  }
  return out;
}

}  // namespace fadeward::review
