#include "fadeward/review/upkeep.hpp"

#include <algorithm>

#include "fadeward/review/words.hpp"

namespace fadeward::review {

namespace {

using history::PeriodRecord;

const PeriodRecord* beginning_at(const Periods& periods, Time from) {
  const auto found = std::ranges::find(periods, from, &PeriodRecord::from);
  return found == periods.end() ? nullptr : &*found;
}

std::string words_of(const PeriodRecord& one) {
  return "from " + moment_words(one.from) + ", " + span_words(one.to - one.from) +
         (one.note.empty() ? "" : " (" + one.note + ")");
}

void tell(std::vector<std::string>& out, std::size_t& more, std::string sentence) {
  if (out.size() < Upkeep::kMostDifferences)
    out.push_back(std::move(sentence));
  else
    ++more;
}

}  // namespace

Upkeep upkeep_of(const Periods& recorded, const std::optional<Periods>& configured, Time from,
                 Time to) {
  const auto here = [&](const PeriodRecord& one) {
    return one.kind == history::PeriodKind::upkeep && one.to > from && one.from < to;
  };
  Upkeep out;
  std::size_t more = 0;
  if (configured)
    for (const PeriodRecord& one : *configured) {
      if (!here(one)) continue;
      out.periods.push_back(one);
      const PeriodRecord* old = beginning_at(recorded, one.from);
      if (old == nullptr)
        tell(out.differences, more,
             "Upkeep " + words_of(one) + " is in the configuration and not in the history: counted.");
      else if (old->to != one.to)
        tell(out.differences, more,
             "Upkeep " + words_of(one) + " in the configuration is " +
                 span_words(old->to - old->from) + " in the history: counted as configured.");
    }
  for (const PeriodRecord& one : recorded) {
    if (!here(one)) continue;
    if (configured && beginning_at(*configured, one.from) != nullptr) continue;
    out.periods.push_back(one);
    if (configured)
      tell(out.differences, more,
           "Upkeep " + words_of(one) +
               " is in the history and not in the configuration any more: counted.");
  }
  std::ranges::stable_sort(out.periods, {}, &PeriodRecord::from);
  if (more > 0)
    out.differences.push_back("Of upkeep there are " + std::to_string(more) +
                              " more differences between history and configuration.");
  return out;
}

UpkeepTimes::UpkeepTimes(const Periods& periods) {
  for (const PeriodRecord& one : periods)
    if (one.from < one.to) spells_.push_back({one.from, one.to});
  std::ranges::sort(spells_, {}, &Spell::from);
  std::vector<Spell> apart;
  for (const Spell& one : spells_) {
    if (!apart.empty() && one.from <= apart.back().to)
      apart.back().to = std::max(apart.back().to, one.to);
    else
      apart.push_back(one);
  }
  spells_ = std::move(apart);
}

bool UpkeepTimes::touch(Time from, Time to) const {
  const auto at = std::ranges::upper_bound(spells_, from, {}, &Spell::to);
  return at != spells_.end() && at->from < to;
}

}  // namespace fadeward::review
