#include "fadeward/base/level_histogram.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward {

namespace {

/// Cell on the grid of half decibels. The shift keeps what is divided above zero and adds half a
/// step.
int cell_of(int level_cdb, int step_cdb) {
  constexpr int kShiftCells = 1000;  // -500 dB
  return (level_cdb + kShiftCells * step_cdb + step_cdb / 2) / step_cdb - kShiftCells;
}

}  // namespace

void LevelHistogram::add(double level_db, std::uint16_t weight) {
  const auto level_cdb =
      static_cast<std::int16_t>(std::lround(std::clamp(level_db, -327.0, 327.0) * 100));
  add_all({&level_cdb, 1}, {&weight, 1});
}

void LevelHistogram::add_all(std::span<const std::int16_t> levels_cdb,
                             std::span<const std::uint16_t> weights) {
  if (levels_cdb.empty()) return;
  if (total_ == 0)
    first_cell_ = static_cast<std::int16_t>(cell_of(levels_cdb[0], kStepCdb) - kCells / 2);
  std::uint16_t* const counts = counts_.data();
  const int first_cell = first_cell_;
  std::uint32_t total = 0;
  std::int64_t sum_cdb = 0, sum_square_cdb = 0;
  for (std::size_t i = 0; i < levels_cdb.size(); ++i) {
    const int level_cdb = levels_cdb[i];
    const std::uint32_t weight = weights[i];
    const int cell = cell_of(level_cdb, kStepCdb) - first_cell;
    auto index = static_cast<unsigned>(cell);
    if (index >= kCells) [[unlikely]] index = cell < 0 ? 0 : kCells - 1;
    const std::uint32_t count = counts[index] + weight;
    counts[index] = static_cast<std::uint16_t>(count > 0xffff ? 0xffff : count);
    total += weight;
    const std::int64_t weighted_cdb = std::int64_t{weight} * level_cdb;
    sum_cdb += weighted_cdb;
    sum_square_cdb += weighted_cdb * level_cdb;
  }
  total_ += total;
  sum_cdb_ += sum_cdb;
  sum_square_cdb_ += sum_square_cdb;
}

void LevelHistogram::merge(const LevelHistogram& other) {
  if (other.total_ == 0) return;
  if (total_ == 0) {
    *this = other;
    return;
  }
  for (int i = 0; i < kCells; ++i) {
    const unsigned more = other.counts_[static_cast<std::size_t>(i)];
    if (more == 0) continue;
    const int index = std::clamp(other.first_cell_ + i - first_cell_, 0, kCells - 1);
    std::uint16_t& count = counts_[static_cast<std::size_t>(index)];
    count = static_cast<std::uint16_t>(std::min(0xffffU, count + more));
  }
  total_ += other.total_;
  sum_cdb_ += other.sum_cdb_;
  sum_square_cdb_ += other.sum_square_cdb_;
}

std::optional<double> LevelHistogram::mean_db() const {
  if (total_ == 0) return {};
  return static_cast<double>(sum_cdb_) / 100 / total_;
}

std::optional<double> LevelHistogram::deviation_db() const {
  if (total_ < 2) return {};
  const double mean = static_cast<double>(sum_cdb_) / total_;
  const double variance = std::max(0.0, static_cast<double>(sum_square_cdb_) / total_ - mean * mean);
  return std::sqrt(variance * total_ / (total_ - 1.0)) / 100;
}

}  // namespace fadeward
