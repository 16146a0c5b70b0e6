#include "fadeward/review/performance.hpp"

#include <algorithm>
#include <array>

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

bool measured(IntervalState state) { return state >= IntervalState::good; }

std::optional<double> share(std::uint64_t part, std::uint64_t whole) {
  if (whole == 0) return {};
  return static_cast<double>(part) / static_cast<double>(whole);
}

}  // namespace

Judged judge_intervals(std::span<const IntervalState> states) {
  Judged out;
  out.unavailable.assign(states.size(), false);
  bool unavailable = false;
  std::size_t run = 0;  // consecutive intervals that speak against the present state
  for (std::size_t i = 0; i < states.size(); ++i) {
    if (!measured(states[i])) {
      run = 0;
      continue;
    }
    const bool severe = states[i] == IntervalState::severely_errored;
    run = severe != unavailable ? run + 1 : 0;
    out.unavailable[i] = unavailable;
    if (run < kRunToChange) continue;
    unavailable = severe;
    run = 0;
    const std::size_t from = i + 1 - kRunToChange;
    for (std::size_t k = from; k <= i; ++k) out.unavailable[k] = unavailable;
    if (unavailable)
      out.runs.push_back({from, states.size(), true});
    else
      out.runs.back() = {out.runs.back().first, from, false};
  }
  for (UnavailableRun& one : out.runs)
    while (one.end > one.first && !out.unavailable[one.end - 1]) --one.end;
  return out;
}

std::vector<IntervalState> worse_of(std::span<const IntervalState> one,
                                    std::span<const IntervalState> other) {
  std::vector<IntervalState> out(std::min(one.size(), other.size()));
  for (std::size_t i = 0; i < out.size(); ++i) {
    const bool upkeep = one[i] == IntervalState::upkeep || other[i] == IntervalState::upkeep;
    out[i] = upkeep ? IntervalState::upkeep : std::max(one[i], other[i]);
  }
  return out;
}

Judged both_ways(const Judged& one, const Judged& other, std::span<const IntervalState> states) {
  Judged out;
  out.unavailable.assign(states.size(), false);
  const auto at = [](const Judged& judged, std::size_t i) {
    return i < judged.unavailable.size() && judged.unavailable[i];
  };
  for (std::size_t i = 0; i < states.size(); ++i)
    out.unavailable[i] = measured(states[i]) && (at(one, i) || at(other, i));
  // Runs that touch are one outage of the link.
  std::vector<UnavailableRun> all = one.runs;
  all.insert(all.end(), other.runs.begin(), other.runs.end());
  std::ranges::sort(all, {}, &UnavailableRun::first);
  for (const UnavailableRun& run : all) {
    if (out.runs.empty() || run.first > out.runs.back().end) {
      out.runs.push_back(run);
      continue;
    }
    out.runs.back().end = std::max(out.runs.back().end, run.end);
    out.runs.back().open |= run.open;
  }
  return out;
}

std::optional<double> Tally::availability() const {
  return share(available, available + unavailable);
}
std::optional<double> Tally::errored_ratio() const { return share(errored, available); }
std::optional<double> Tally::severely_errored_ratio() const {
  return share(severely_errored, available);
}

Tally tally(std::span<const IntervalState> states, const Judged& judged, std::size_t first,
            std::size_t end) {
  Tally out;
  for (std::size_t i = first; i < std::min(end, states.size()); ++i) {
    if (states[i] == IntervalState::no_data) {
      ++out.no_data;
    } else if (states[i] == IntervalState::upkeep) {
      ++out.upkeep;
    } else if (judged.unavailable[i]) {
      ++out.unavailable;
    } else {
      ++out.available;
      if (states[i] >= IntervalState::errored) ++out.errored;
      if (states[i] == IntervalState::severely_errored) ++out.severely_errored;
    }
  }
  return out;
}

std::optional<Duration> interval_for(double frames_per_day, Duration least) {
  static constexpr std::array<Duration, 16> kLengths = {
      15min, 30min, 1h, 2h, 3h, 4h, 6h, 8h, 12h, 24h, 48h, 72h, 96h, 120h, 144h, 168h};
  for (const Duration length : kLengths)
    if (length >= least && frames_per_day * (duration_to_seconds(length) / 86400) >=
                               static_cast<double>(kLeastFramesPerInterval))
      return length;
  return {};
}

}  // namespace fadeward::review
