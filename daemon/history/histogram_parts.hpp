// The inside of a LevelHistogram, for storage: what its archive function shows.
#pragma once

#include <array>
#include <cstdint>

#include "fadeward/base/level_histogram.hpp"

namespace fadeward::history {

struct HistogramParts {
  std::int16_t first_cell = 0;
  std::array<std::uint16_t, LevelHistogram::kCells> counts{};
  std::uint32_t total = 0;
  std::int64_t sum_cdb = 0;
  std::int64_t sum_square_cdb = 0;
};

namespace detail {
struct TakeParts {
  HistogramParts& parts;
  void operator()(std::int16_t& first, std::array<std::uint16_t, LevelHistogram::kCells>& counts,
                  std::uint32_t& total, std::int64_t& sum, std::int64_t& square) const {
    parts = {first, counts, total, sum, square};
  }
};
struct GiveParts {
  const HistogramParts& parts;
  void operator()(std::int16_t& first, std::array<std::uint16_t, LevelHistogram::kCells>& counts,
                  std::uint32_t& total, std::int64_t& sum, std::int64_t& square) const {
    first = parts.first_cell;
    counts = parts.counts;
    total = parts.total;
    sum = parts.sum_cdb;
    square = parts.sum_square_cdb;
  }
};
}  // namespace detail

inline HistogramParts parts_of(const LevelHistogram& histogram) {
  HistogramParts out;
  LevelHistogram copy = histogram;
  detail::TakeParts take{out};
  copy.archive(take);
  return out;
}

inline LevelHistogram histogram_of(const HistogramParts& parts) {
  LevelHistogram out;
  detail::GiveParts give{parts};
  out.archive(give);
  return out;
}

}  // namespace fadeward::history
