#include "fadeward/estimate/sliding_histogram.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>

namespace fadeward::estimate {

std::uint16_t SlidingHistogram::cell_of(double value_db) {
  const double cell = (value_db - kLowestDb) / kStepDb + 0.5;
  return static_cast<std::uint16_t>(std::clamp(cell, 0.0, kCells - 1.0));
}

void SlidingHistogram::clear() { *this = SlidingHistogram{}; }

std::optional<double> SlidingHistogram::quantile_db(double q) const {
  if (total_ == 0) return {};
  // All weights are doubled here, so that the middle of a cell is a whole number.
  const double wanted = std::clamp(q, 0.0, 1.0) * 2.0 * total_;
  const auto wanted_whole = static_cast<std::uint32_t>(std::ceil(wanted));
  const auto weight = [&](int cell) { return std::uint32_t{weights_[static_cast<std::size_t>(cell)]}; };

  // To the first occupied cell whose middle lies at or above what is wanted.
  auto& [cursor, below] = cursors_[q < 0.2 ? 0 : 1];
  while (cursor > 0 && (weight(cursor) == 0 || 2 * below + weight(cursor) >= wanted_whole)) {
    --cursor;
    below -= weight(cursor);
  }
  while (cursor < kCells - 1 && (weight(cursor) == 0 || 2 * below + weight(cursor) < wanted_whole)) {
    below += weight(cursor);
    ++cursor;
  }
  int right = cursor;
  if (weight(right) == 0) {   // ran past the highest occupied cell
    while (right > 0 && weight(right) == 0) --right;
    return level_of(right);
  }
  const double right_at = 2 * below + weight(right);
  int left = right - 1;
  while (left >= 0 && weight(left) == 0) --left;
  if (left < 0 || right_at < wanted) return level_of(right);
  const double left_at = 2 * below - weight(left);
  const double share = (wanted - left_at) / (right_at - left_at);
  return level_of(left) + (level_of(right) - level_of(left)) * std::clamp(share, 0.0, 1.0);
}

std::optional<double> SlidingHistogram::smooth_median_db() const {
  const auto plain = quantile_db(0.5);
  if (!plain) return {};
  // All eightfold: a value lies with 1, 2, 2, 2, 1 eighths in the five cells around its own.
  constexpr int kReach = 2;
  const auto weight = [&](int cell) {
    return cell < 0 || cell >= kCells ? 0 : std::int64_t{weights_[static_cast<std::size_t>(cell)]};
  };
  const auto here = [&](int cell) {
    return weight(cell - 2) + 2 * (weight(cell - 1) + weight(cell) + weight(cell + 1)) + weight(cell + 2);
  };
  int cell = cursors_[1].cell;
  const std::int64_t wanted = 4 * std::int64_t{total_};
  // What lies in the cells before this one.
  std::int64_t below = 8 * (std::int64_t{cursors_[1].below} - weight(cell - 1) - weight(cell - 2)) + 5 * weight(cell - 1) +
          7 * weight(cell - 2) + 3 * weight(cell) + weight(cell + 1);
  while (cell > -kReach && below > wanted) below -= here(--cell);
  while (cell < kCells + kReach && below + here(cell) < wanted) below += here(cell++);
  const std::int64_t share = here(cell);
  // Readings on one grid of about a decibel are best joined by straight lines.
  int occupied = 0;
  for (int other = cell - 4; other <= cell + 4; ++other) occupied += weight(other) > 0 ? 1 : 0;
  if (occupied <= 3) return plain;
  if (share * 64 < wanted / 4) return plain;   // thin here: values lie apart
  return level_of(cell) + kStepDb * (static_cast<double>(wanted - below) / static_cast<double>(share) - 0.5);
}

std::optional<double> SlidingHistogram::deviation_db() const {
  if (total_ == 0) return {};
  // Most cells are empty: they are passed by in fours.
  static_assert(kCells % 4 == 0);
  std::int64_t sum = 0, sum_square = 0;
  for (std::size_t four = 0; four < kCells; four += 4) {
    std::uint64_t any = 0;
    std::memcpy(&any, &weights_[four], sizeof any);
    if (any == 0) continue;
    for (std::size_t i = four; i < four + 4; ++i) {
      const auto cell = static_cast<std::int64_t>(i);
      const std::int64_t moment = cell * weights_[i];
      sum += moment;
      sum_square += moment * cell;
    }
  }
  const double mean = static_cast<double>(sum) / total_;
  const double variance = static_cast<double>(sum_square) / total_ - mean * mean;
  return kStepDb * std::sqrt(std::max(0.0, variance));
}

}  // namespace fadeward::estimate
