// Combinations of power and data rate as bits.
#pragma once

#include <cstdint>
#include <vector>

#include "fadeward/history/bits.hpp"
#include "fadeward/history/summary.hpp"

namespace fadeward::history {

/// To the bit: what is written as "the same as before" must come back exactly. Frames do not count.
bool same_bits(const RateTotal& a, const RateTotal& b);

/// `frames`: of all of them together. `near`: those of the bin before it, which they become.
void put_rates(BitWriter& bits, const std::vector<RateTotal>& rates, std::uint64_t frames,
               std::vector<RateTotal>& near);
/// False: damaged, or more than Summary::kMostRates.
bool get_rates(BitReader& bits, std::vector<RateTotal>& rates, std::uint64_t frames,
               std::vector<RateTotal>& near);

}  // namespace fadeward::history
