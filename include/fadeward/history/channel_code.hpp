// Hop channels as bits: frames of each, and mean levels to a quarter of a decibel against the mean
// of all of them.
#pragma once

#include <vector>

#include "fadeward/history/bits.hpp"
#include "fadeward/history/summary.hpp"

namespace fadeward::history {

/// In rising order, each with frames.
void put_channels(BitWriter& bits, const std::vector<ChannelTotal>& channels);
/// False: damaged. Sums come back within an eighth of a decibel for each frame.
bool get_channels(BitReader& bits, std::vector<ChannelTotal>& channels);

}  // namespace fadeward::history
