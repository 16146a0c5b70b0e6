#include "fadeward/estimate/median_keeper.hpp"

#include <algorithm>

namespace fadeward::estimate {

namespace {
constexpr double kPerDb = 100;
}

void MedianKeeper::spill() {
  counts_.assign(kCells, 0);
  for (std::int16_t cell : values_) ++counts_[static_cast<std::size_t>(cell + kCells / 2)];
  values_.clear();
}

std::optional<double> MedianKeeper::median_db() {
  if (count_ == 0) return {};
  const std::uint64_t low_rank = (count_ - 1) / 2, high_rank = count_ / 2;
  if (counts_.empty()) {
    const auto high = values_.begin() + static_cast<std::ptrdiff_t>(high_rank);
    std::nth_element(values_.begin(), high, values_.end());
    const int upper = *high;
    const int lower = low_rank == high_rank ? upper : *std::max_element(values_.begin(), high);
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
