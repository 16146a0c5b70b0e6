// A weighted histogram of a sliding window with quantiles at hand.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>

namespace fadeward::estimate {

/// Holds weights of values on a grid of 0.25 dB from -64 dB to +63.75 dB (the ends collect what
/// lies beyond). The caller adds what enters its window and removes the same when it leaves.
/// `quantile` remembers where it stopped, so that asking again after a few changes costs a few
/// steps only.
class SlidingHistogram {
 public:
  static constexpr int kCells = 512;
  static constexpr double kStepDb = 0.25;
  static constexpr double kLowestDb = -64;

  /// The cell of a value; store it with the value and remove with the same cell.
  static std::uint16_t cell_of(double value_db);
  static double level_of(int cell) { return kLowestDb + kStepDb * cell; }

  void add(std::uint16_t cell, std::uint16_t weight) { change(cell, weight); }
  void remove(std::uint16_t cell, std::uint16_t weight) { change(cell, -std::int32_t{weight}); }
  /// Reads its head, which should be in the cache by then.
  [[gnu::always_inline]] void prefetch() const {
    // Around the median: 24 dB in three lines.
    const std::uint16_t* middle = &weights_[static_cast<std::size_t>(
        std::clamp(cursors_[1].cell, 32, kCells - 33))];
    __builtin_prefetch(middle - 32, 1);
    __builtin_prefetch(middle, 1);
    __builtin_prefetch(middle + 32, 1);
  }
  std::uint32_t total() const { return total_; }
  void clear();

  /// Value with the share `q` of the weight below it, 0 < q < 1: linear between the middles of
  /// neighbouring occupied cells (mid-distribution), which is unbiased for values that were
  /// rounded to a coarser grid than the spread. Empty while empty.
  std::optional<double> quantile_db(double q) const;

  /// The median with each value spread evenly over the decibel around it: steadier than the plain one
  /// where readings in whole decibels combine to clumps. Where values lie further apart than that
  /// around the middle it is `quantile_db(0.5)`. Empty while empty.
  std::optional<double> smooth_median_db() const;

  /// Square root of the weighted variance. Empty while empty. Cost: a scan of the cells.
  std::optional<double> deviation_db() const;

 private:
  struct Cursor {
    int cell = 0;
    std::uint32_t below = 0;   ///< the weight in the cells before it
  };
  void change(std::uint16_t cell, std::int32_t weight) {
    weights_[cell] = static_cast<std::uint16_t>(weights_[cell] + weight);
    total_ += static_cast<std::uint32_t>(weight);
    for (Cursor& cursor : cursors_)
      if (cell < cursor.cell) cursor.below += static_cast<std::uint32_t>(weight);
  }

  std::uint32_t total_ = 0;
  mutable std::array<Cursor, 2> cursors_;   ///< where the low and the other quantiles stood last
  std::array<std::uint16_t, kCells> weights_{};
};

}  // namespace fadeward::estimate
