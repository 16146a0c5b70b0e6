// A histogram of levels for any span of time: as wide and as deep as what it holds.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/level_histogram.hpp"

namespace fadeward::history {

/// The grid of LevelHistogram (cells of 0.5 dB centred on multiples of 0.5 dB) without its limits:
/// the span grows with the values and a cell counts to 2^64. Years of quarter hours merge into one
/// that equals what one built from all values would hold.
class Levels {
 public:
  /// -4000..4000 dB; beyond that the end is taken.
  void add(double level_db, std::uint64_t weight = 1);
  void merge(const LevelHistogram& other);
  void merge(const Levels& other);
  /// Keeps its memory.
  void clear();

  std::uint64_t total() const { return total_; }
  /// Exact over all values, not from cells. Empty before the first value.
  std::optional<double> mean_db() const;
  std::optional<double> deviation_db() const;  ///< empty before the second value
  /// Level with a share `q` (0..1) of the values below it, as LevelHistogram gives it. Empty while
  /// empty.
  std::optional<double> quantile_db(double q) const {
    return quantile_of_cells(cells_, first_cell_, LevelHistogram::kStepDb, q);
  }

  /// Calls `visit(level_db, weight)` for each occupied cell, lowest level first.
  template <class Visit>
  void visit(Visit visit) const {
    for (std::size_t i = 0; i < cells_.size(); ++i)
      if (cells_[i] > 0)
        visit((first_cell_ + static_cast<std::int64_t>(i)) * LevelHistogram::kStepDb, cells_[i]);
  }

  /// Two that hold the same; room that was kept does not count.
  bool operator==(const Levels& other) const;

  // For storage: grid index of the first cell, cells (ends may be zero), moments in hundredths of a
  // decibel.
  std::int64_t first_cell() const { return first_cell_; }
  const std::vector<std::uint64_t>& cells() const { return cells_; }
  std::int64_t sum_cdb() const { return sum_cdb_; }
  std::int64_t sum_square_cdb() const { return sum_square_cdb_; }
  /// Adds `count` to the cell `first + i` for each of `cells`, and the moments.
  template <class Count>
  void add_cells(std::int64_t first, const Count* cells, std::size_t count, std::uint64_t total,
                 std::int64_t sum_cdb, std::int64_t sum_square_cdb) {
    if (count > 0 && cells_.empty()) {
      first_cell_ = first;
      cells_.resize(count);
      std::uint64_t* at = cells_.data();
      for (std::size_t i = 0; i < count; ++i) at[i] = cells[i];
    } else if (count > 0) {
      make_room(first, first + static_cast<std::int64_t>(count) - 1);
      std::uint64_t* at = cells_.data() + (first - first_cell_);
      for (std::size_t i = 0; i < count; ++i) at[i] += cells[i];
    }
    total_ += total;
    sum_cdb_ = sum_of(sum_cdb_, sum_cdb);
    sum_square_cdb_ = sum_of(sum_square_cdb_, sum_square_cdb);
  }

 private:
  void make_room(std::int64_t first, std::int64_t last);
  /// Damaged moments may wrap, but must not trap.
  static std::int64_t sum_of(std::int64_t a, std::int64_t b) {
    return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
  }

  std::int64_t first_cell_ = 0;  ///< of cells_[0] on the grid
  std::vector<std::uint64_t> cells_;
  std::uint64_t total_ = 0;  ///< may exceed the sum of the cells: a LevelHistogram's cells saturate
  std::int64_t sum_cdb_ = 0;
  std::int64_t sum_square_cdb_ = 0;
};

}  // namespace fadeward::history
