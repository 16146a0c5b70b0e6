// A histogram of levels on a fixed half-decibel grid that merges exactly.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

namespace fadeward {

/// Counts levels in cells of 0.5 dB centred on multiples of 0.5 dB, over a span of 64 dB placed
/// around the first value; values outside fall into the end cells and stay exact in the moments.
/// Adding costs a few nanoseconds; merging two gives what one would have held.
class LevelHistogram {
 public:
  static constexpr int kCells = 128;
  static constexpr double kStepDb = 0.5;

  void add(double level_db, std::uint16_t weight = 1);

  /// Adds many levels in hundredths of a decibel; the histogram is complete when it ends.
  class Filler {
   public:
    explicit Filler(LevelHistogram& into)
        : into_(into), counts_(into.counts_.data()), first_cell_(into.first_cell_), total_(into.total_) {}
    ~Filler() {
      into_.first_cell_ = static_cast<std::int16_t>(first_cell_);
      into_.total_ = total_;
      into_.sum_cdb_ += sum_cdb_;
      into_.sum_square_cdb_ += sum_square_cdb_;
    }
    Filler(const Filler&) = delete;
    Filler& operator=(const Filler&) = delete;

    void add(int level_cdb, std::uint32_t weight) {
      const int cell = (level_cdb + kGridShift) / kStepCdb - kGridShift / kStepCdb;
      if (total_ == 0) first_cell_ = cell - kCells / 2;
      auto index = static_cast<unsigned>(cell - first_cell_);
      if (index >= kCells) index = cell < first_cell_ ? 0 : kCells - 1;
      const std::uint32_t sum = counts_[index] + weight;
      counts_[index] = static_cast<std::uint16_t>(sum > 0xffff ? 0xffff : sum);
      total_ += weight;
      const int weighted_cdb = static_cast<int>(weight) * level_cdb;
      sum_cdb_ += weighted_cdb;
      sum_square_cdb_ += std::int64_t{weighted_cdb} * level_cdb;
    }

   private:
    LevelHistogram& into_;
    std::uint16_t* counts_;
    int first_cell_;
    std::uint32_t total_;
    std::int64_t sum_cdb_ = 0;
    std::int64_t sum_square_cdb_ = 0;
  };
  void merge(const LevelHistogram& other);
  void clear() { *this = LevelHistogram{}; }

  std::uint32_t total() const { return total_; }
  /// Exact over all values, not from cells. Empty before the first value.
  std::optional<double> mean_db() const;
  std::optional<double> deviation_db() const;   ///< empty before the second value
  /// Level with a share `q` (0..1) of the values below it; linear between the middles of occupied
  /// cells, so that levels reported in whole decibels do not make it jump. Empty while empty.
  std::optional<double> quantile_db(double q) const;

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
  static constexpr int kGridShift = 1'000'025;   ///< keeps the division above zero; + half a step

  std::int16_t first_cell_ = 0;                 ///< index of counts_[0] on the grid
  std::array<std::uint16_t, kCells> counts_{};  ///< saturating
  std::uint32_t total_ = 0;                     ///< weights added, also those that a full cell did not take
  std::int64_t sum_cdb_ = 0;                    ///< in hundredths of a decibel
  std::int64_t sum_square_cdb_ = 0;
};

}  // namespace fadeward
