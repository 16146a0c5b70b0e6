#include "fadeward/estimate/median_keeper.hpp"

#include <algorithm>
#include <array>

namespace fadeward::estimate {

namespace {
constexpr double kPerDb = 100;
constexpr std::size_t kLanes = 16;

std::size_t count_up_to(const std::vector<std::int16_t>& values, std::int16_t limit) {
  std::array<std::int16_t, kLanes> counts{};   // at most 4,096 values
  std::size_t i = 0;
  for (; i + kLanes <= values.size(); i += kLanes)
    for (std::size_t lane = 0; lane < kLanes; ++lane)
      counts[lane] = static_cast<std::int16_t>(counts[lane] + (values[i + lane] > limit ? 1 : 0));
  std::size_t above = 0;
  for (const std::int16_t lane : counts) above += static_cast<std::size_t>(lane);
  for (; i < values.size(); ++i) above += values[i] > limit ? 1 : 0;
  return values.size() - above;
}

/// The value of this rank (0: the lowest), found by halving the range: a pass compares many values in
/// one instruction, which beats any ordering of a list this short.
int value_at(const std::vector<std::int16_t>& values, std::size_t rank, int lowest, int highest) {
  while (lowest < highest) {
    const int middle = lowest + (highest - lowest) / 2;
    if (count_up_to(values, static_cast<std::int16_t>(middle)) > rank)
      highest = middle;
    else
      lowest = middle + 1;
  }
  return lowest;
}

}  // namespace

void MedianKeeper::spill() {
  counts_.assign(kCells, 0);
  for (std::int16_t cell : values_) ++counts_[static_cast<std::size_t>(cell + kCells / 2)];
  values_.clear();
}

std::optional<double> MedianKeeper::median_db() {
  if (count_ == 0) return {};
  const std::uint64_t low_rank = (count_ - 1) / 2, high_rank = count_ / 2;
  if (counts_.empty()) {
    const auto [lowest, highest] = std::ranges::minmax(values_);
    const int upper = value_at(values_, high_rank, lowest, highest);
    const int lower = low_rank == high_rank ? upper : value_at(values_, low_rank, lowest, upper);
    return (upper + lower) / (2 * kPerDb);
  }
  std::uint64_t below = 0;
  std::optional<int> lower;
  for (int i = 0; i < kCells; ++i) {
    below += counts_[static_cast<std::size_t>(i)];
    if (!lower && below > low_rank) lower = i - kCells / 2;
    if (below > high_rank) return (*lower + i - kCells / 2) / (2 * kPerDb);
  }
  return {};
}

void MedianKeeper::clear() {
  values_.clear();
  counts_.clear();
  counts_.shrink_to_fit();
  count_ = 0;
}

}  // namespace fadeward::estimate
