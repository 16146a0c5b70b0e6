// Histograms as bits: counts cell by cell from the lowest occupied one, and of the moments what the
// middles of the cells do not tell.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <vector>

#include "fadeward/base/level_histogram.hpp"
#include "fadeward/history/bits.hpp"
#include "fadeward/history/levels.hpp"

namespace fadeward::history {

/// Counts of neighbouring cells: bytes while all fit into one, which is nearly always so.
class CellCounts {
 public:
  /// As many bytes as are looked at together; zeros follow the last one for so many.
  static constexpr std::size_t kLane = 16;

  std::size_t size() const { return size_; }
  bool empty() const { return size_ == 0; }
  /// Calls `visit` with a span of bytes or of words and gives what it gives.
  template <class Visit>
  auto visit(Visit visit) const {
    return wide_ ? visit(std::span<const std::uint64_t>(words_.data(), size_))
                 : visit(std::span<const std::uint8_t>(bytes_.data(), size_));
  }

  void clear() { size_ = 0; }
  template <class Iterator>
  void assign(Iterator begin, Iterator end) {
    words_.assign(begin, end);
    size_ = words_.size();
    wide_ = true;
  }
  /// Codes of order `k`. The reader tells whether it had them all.
  void read(BitReader& bits, std::size_t size, int k);

 private:
  static constexpr std::size_t kRoom = std::max(kLane, BitReader::kByteRoom);
  std::vector<std::uint8_t> bytes_;  ///< with kRoom at least; never shrinks
  std::vector<std::uint64_t> words_;
  std::size_t size_ = 0;
  bool wide_ = false;  ///< words hold them
};

struct RawLevels {
  std::int64_t lowest = 0;  ///< grid index of counts[0]
  CellCounts counts;
  std::uint64_t total = 0;
  std::int64_t sum_cdb = 0;
  std::int64_t sum_square_cdb = 0;
  std::uint64_t below = 0;  ///< cells between the histogram's own first one and `lowest`
};

RawLevels raw_of(const LevelHistogram& histogram);
RawLevels raw_of(const Levels& levels);

/// `near`: lowest cell of the histogram before it, which it becomes.
void put_levels(BitWriter& bits, const RawLevels& raw, std::int64_t& near);
/// False: damaged, or beyond 8000 dB. `below` is not in it.
bool get_levels(BitReader& bits, RawLevels& raw, std::int64_t& near);

/// False: more than a LevelHistogram holds.
bool to_histogram(const RawLevels& raw, LevelHistogram& out);
void add_to(Levels& out, const RawLevels& raw);

}  // namespace fadeward::history
