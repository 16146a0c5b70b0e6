// Work on a link, from two sources: what the history has recorded and what the configuration says
// now. Who enters last week's mast work today wants it counted as if it had been known.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/time.hpp"
#include "fadeward/history/record.hpp"

namespace fadeward::review {

using Periods = std::vector<history::PeriodRecord>;

struct Upkeep {
  Periods periods;                       ///< of both, in order of their beginnings
  std::vector<std::string> differences;  ///< one sentence each, at most kMostDifferences and a last one
  static constexpr std::size_t kMostDifferences = 6;
};

/// What touches [from, to). Of two that begin at one moment the configuration's counts; every other
/// one of either source counts as well. `configured` empty: there is no configuration to ask.
Upkeep upkeep_of(const Periods& recorded, const std::optional<Periods>& configured, Time from,
                 Time to);

/// Whether anybody worked at a time; made for many questions.
class UpkeepTimes {
 public:
  explicit UpkeepTimes(const Periods& periods);
  /// Any part of [from, to).
  bool touch(Time from, Time to) const;

 private:
  struct Spell {
    Time from{};
    Time to{};
  };
  std::vector<Spell> spells_;  ///< in order, apart from each other
};

}  // namespace fadeward::review
