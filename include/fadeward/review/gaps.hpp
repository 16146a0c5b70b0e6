// Times for which a link's silence says nothing: the program did not run, or its port was closed.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "fadeward/history/record.hpp"
#include "fadeward/review/digest.hpp"

namespace fadeward::review {

struct Gap {
  Time from{};
  Time to{};
  std::string port;  ///< empty: the program did not run
  bool operator==(const Gap&) const = default;
};

/// Signs of life of the program, sorted: when events and marks were written.
using Evidence = std::vector<Time>;

/// From the marks of `[from, to)`, in order. A start without a stop before it was a crash or a
/// power cut: the gap reaches back to the last evidence or to the last that was heard. `heard`: the
/// slots of the link, those of each direction in order of time. A port counts unless the link was
/// heard in the middle of one of its closed times (the history does not keep which port a link is
/// on). Sorted; they may overlap.
std::vector<Gap> gaps_of(const std::vector<history::MarkRecord>& marks, const Evidence& evidence,
                         std::span<const std::vector<Slot>* const> heard, Time from, Time to);

}  // namespace fadeward::review
