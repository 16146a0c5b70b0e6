// The exact median of everything since it was last asked, in bounded memory.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

namespace fadeward::estimate {

/// Keeps values to 1/64 dB. Up to 4,096 values the median is exact; beyond, counts per 1/64 dB over
/// -256..+256 dB take over (128 KiB), and it stays exact to that step.
class MedianKeeper {
 public:
  void add(double value_db);
  std::uint64_t count() const { return count_; }
  /// Mean of the two middle values for an even count. Empty while empty.
  std::optional<double> median_db();
  void clear();

 private:
  static constexpr std::size_t kExact = 4096;
  static constexpr int kCells = 32768;
  void spill();

  std::vector<std::int16_t> values_;
  std::vector<std::uint32_t> counts_;
  std::uint64_t count_ = 0;
};

}  // namespace fadeward::estimate
