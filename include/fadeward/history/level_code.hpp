// Histograms as bits: counts cell by cell from the lowest occupied one, and of the moments what the
// middles of the cells do not tell.
#pragma once

#include <cstdint>
#include <vector>

#include "fadeward/base/level_histogram.hpp"
#include "fadeward/history/bits.hpp"
#include "fadeward/history/levels.hpp"

namespace fadeward::history {

struct RawLevels {
  std::int64_t lowest = 0;  ///< grid index of counts[0]
  std::vector<std::uint64_t> counts;
  std::uint64_t total = 0;
  std::int64_t sum_cdb = 0;
  std::int64_t sum_square_cdb = 0;
  std::uint64_t below = 0;  ///< cells between the histogram's own first one and `lowest`
};

RawLevels raw_of(const LevelHistogram& histogram);
RawLevels raw_of(const Levels& levels);

/// `near`: lowest cell of the histogram before it, which it becomes.
void put_levels(BitWriter& bits, const RawLevels& raw, std::int64_t& near);
/// False: damaged, or beyond 8000 dB. `below` is not in it.
bool get_levels(BitReader& bits, RawLevels& raw, std::int64_t& near);

/// False: more than a LevelHistogram holds.
bool to_histogram(const RawLevels& raw, LevelHistogram& out);
void add_to(Levels& out, const RawLevels& raw);

}  // namespace fadeward::history
