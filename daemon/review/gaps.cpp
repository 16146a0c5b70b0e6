#include "fadeward/review/gaps.hpp"

#include <algorithm>
#include <map>
#include <optional>

namespace fadeward::review {

namespace {

using history::MarkKind;
using history::MarkRecord;

using Heard = std::span<const std::vector<Slot>* const>;

/// When anything was last written before `at`.
std::optional<Time> last_before(const Evidence& evidence, Heard heard, Time at) {
  std::optional<Time> out;
  const auto place = std::ranges::lower_bound(evidence, at);
  if (place != evidence.begin()) out = *(place - 1);
  for (const std::vector<Slot>* slots : heard) {
    const auto slot = std::ranges::lower_bound(*slots, at, {}, &Slot::from);
    if (slot == slots->begin()) continue;
    const Time end = std::min(at, (slot - 1)->from + (slot - 1)->span);
    out = out ? std::max(*out, end) : end;
  }
  return out;
}

void program_gaps(const std::vector<MarkRecord>& marks, const Evidence& evidence, Heard heard,
                  Time from, Time to, std::vector<Gap>& out) {
  std::optional<Time> stopped;
  for (const MarkRecord& mark : marks) {
    if (mark.kind == MarkKind::stopped) {
      stopped = mark.time;
    } else if (mark.kind == MarkKind::started) {
      const auto since = stopped ? stopped : last_before(evidence, heard, mark.time);
      out.push_back({since.value_or(from), mark.time, {}});
      stopped.reset();
    }
  }
  if (stopped) out.push_back({*stopped, to, {}});
}

bool heard_within(Heard heard, const Gap& gap) {
  for (const std::vector<Slot>* slots : heard) {
    auto at = std::ranges::lower_bound(*slots, gap.from, {}, &Slot::from);
    for (; at != slots->end() && at->from + at->span <= gap.to; ++at)
      if (at->frames > 0) return true;
  }
  return false;
}

void port_gaps(const std::vector<MarkRecord>& marks, Heard heard, Time to, std::vector<Gap>& out) {
  std::map<std::string, std::vector<Gap>> closed;
  std::map<std::string, Time> since;
  for (const MarkRecord& mark : marks) {
    if (mark.kind == MarkKind::port_down) since.emplace(mark.port, mark.time);
    const auto at = since.find(mark.port);
    if (mark.kind != MarkKind::port_up || at == since.end()) continue;
    closed[mark.port].push_back({at->second, mark.time, mark.port});
    since.erase(at);
  }
  for (const auto& [port, from] : since) closed[port].push_back({from, to, port});
  for (const auto& [port, gaps] : closed) {
    const bool another =
        std::ranges::any_of(gaps, [&](const Gap& gap) { return heard_within(heard, gap); });
    if (!another) out.insert(out.end(), gaps.begin(), gaps.end());
  }
}

}  // namespace

std::vector<Gap> gaps_of(const std::vector<MarkRecord>& marks, const Evidence& evidence,
                         Heard heard, Time from, Time to) {
  std::vector<Gap> out;
  program_gaps(marks, evidence, heard, from, to, out);
  port_gaps(marks, heard, to, out);
  std::erase_if(out, [](const Gap& gap) { return gap.to <= gap.from; });
  std::ranges::sort(out, {}, &Gap::from);
  return out;
}

}  // namespace fadeward::review
