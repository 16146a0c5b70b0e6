// Slow changes of a link: the newest hours and days against the slow level.
#pragma once

#include <cstddef>
#include <optional>

#include "fadeward/judge/hour_book.hpp"
#include "fadeward/judge/signature.hpp"

namespace fadeward::judge {

struct Drift {
  Explanation what;  ///< its size is that of the mean over the span, the younger half counting more
  Changes changes;   ///< that it explains
  std::size_t span_hours = 0;
};

/// What has grown within a day to eight days, or hours where a transmitter fades; empty where
/// nothing has. `like` says which directions are heard. `stepped`: a sudden change was told within
/// the last day, whose share of that day is uncertain.
///
/// A log-likelihood ratio decides, as for the mean of a normal distribution whose standard
/// deviation is an estimate itself (Student's). Pure.
std::optional<Drift> find_drift(const HourBook& hours, const Changes& like, bool stepped);

}  // namespace fadeward::judge
