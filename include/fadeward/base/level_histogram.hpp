// A histogram of levels on a fixed half-decibel grid that merges exactly.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>

namespace fadeward {

/// Level with a share `q` (0..1) of the counts below it, for cells of `step_db` of which the first is
/// `first_cell` on the grid: linear between the middles of occupied cells, so that levels reported in
/// whole decibels do not make it jump. Empty while all cells are.
template <class Cells>
std::optional<double> quantile_of_cells(const Cells& cells, std::int64_t first_cell, double step_db,
                                        double q) {
  double held = 0;
  for (const auto count : cells) held += static_cast<double>(count);
  const double wanted = q * held;
  double below = 0, left_at = 0;
  std::optional<double> left_level;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    if (cells[i] == 0) continue;
    const auto count = static_cast<double>(cells[i]);
    const double middle = below + count / 2;
    const double level = static_cast<double>(first_cell + static_cast<std::int64_t>(i)) * step_db;
    if (middle >= wanted)
      return left_level ? *left_level + (level - *left_level) * (wanted - left_at) / (middle - left_at)
                        : level;
    left_at = middle;
    left_level = level;
    below += count;
  }
  return left_level;
}

/// Counts levels in cells of 0.5 dB centred on multiples of 0.5 dB, over a span of 64 dB placed
/// around the first value; values outside fall into the end cells and stay exact in the moments.
/// Adding costs a few nanoseconds; merging two gives what one would have held.
class LevelHistogram {
 public:
  static constexpr int kCells = 128;
  static constexpr double kStepDb = 0.5;

  void add(double level_db, std::uint16_t weight = 1);

  /// Adds many levels in hundredths of a decibel, each with its weight; the spans are equally long.
  void add_all(std::span<const std::int16_t> levels_cdb, std::span<const std::uint16_t> weights);
  void merge(const LevelHistogram& other);
  void clear() { *this = LevelHistogram{}; }

  std::uint32_t total() const { return total_; }
  /// Exact over all values, not from cells. Empty before the first value.
  std::optional<double> mean_db() const;
  std::optional<double> deviation_db() const;   ///< empty before the second value
  /// As quantile_of_cells says, of what the cells took: less than `total` where one is full.
  std::optional<double> quantile_db(double q) const {
    return quantile_of_cells(counts_, first_cell_, kStepDb, q);
  }

  /// Calls `visit(level_db, weight)` for each occupied cell, lowest level first.
  template <class Visit>
  void visit(Visit visit) const {
    for (int i = 0; i < kCells; ++i)
      if (const std::uint32_t weight = counts_[static_cast<std::size_t>(i)]; weight > 0)
        visit((first_cell_ + i) * kStepDb, weight);
  }

  template <class A>
  void archive(A& a) {
    a(first_cell_, counts_, total_, sum_cdb_, sum_square_cdb_);
  }

 private:
  static constexpr int kStepCdb = 50;

  std::int16_t first_cell_ = 0;                 ///< index of counts_[0] on the grid
  std::array<std::uint16_t, kCells> counts_{};  ///< saturating
  std::uint32_t total_ = 0;                     ///< weights added, also those that a full cell did not take
  std::int64_t sum_cdb_ = 0;                    ///< in hundredths of a decibel
  std::int64_t sum_square_cdb_ = 0;
};

}  // namespace fadeward
