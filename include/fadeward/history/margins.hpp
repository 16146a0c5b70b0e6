// Middle and ends of the margin of all frames sent, lost ones included.
#pragma once

#include <optional>

#include "fadeward/history/summary.hpp"

namespace fadeward::history {

struct Margins {
  std::optional<double> median_db;
  std::optional<double> low_db;   ///< exceeded by 99 in 100 frames
  std::optional<double> high_db;  ///< exceeded by 1 in 100
};

/// From the merged histogram. Where more than 2 in 100 frames were lost the frames heard are the
/// lucky ones: median and low end are then those of a level fitted to what arrived and what did
/// not (estimate::fit_survivors). Empty without a frame.
Margins margins_of(const Summary& summary);

}  // namespace fadeward::history
