#include "fadeward/history/level_code.hpp"

#include <algorithm>
#include <array>

#include "histogram_parts.hpp"

namespace fadeward::history {

namespace {

constexpr std::int64_t kStepCdb = 50;
constexpr std::size_t kMostCells = 16384;  // of -4000..4000 dB
constexpr std::int64_t kFarthest = kMostCells;

/// Of counts with places 0, 1, 2...: their sum, that of places, that of squared places.
struct Places {
  std::uint64_t held = 0, sum = 0, square = 0;
};

template <class Counts>
Places places_of(Counts counts) {
  Places out;
  std::uint64_t place = 0;
  for (const std::uint64_t count : counts) {
    out.held += count;
    out.sum += count * place;
    out.square += count * place * place;
    ++place;
  }
  return out;
}

/// Places and their squares as far as both fit into sixteen bits: products of such pairs, summed,
/// are what processors do eight at a time.
constexpr std::size_t kShortPlaces = 176;
struct ShortPlaces {
  std::array<std::int16_t, kShortPlaces> place{}, square{};
  constexpr ShortPlaces() {
    for (std::size_t i = 0; i < kShortPlaces; ++i) {
      place[i] = static_cast<std::int16_t>(i);
      square[i] = static_cast<std::int16_t>(i * i);
    }
  }
};
constexpr ShortPlaces kPlaces;
static_assert(kShortPlaces % CellCounts::kLane == 0);

/// `counts` goes on with zeros to a full lane.
Places places_of(std::span<const std::uint8_t> counts) {
  if (counts.size() > kShortPlaces) return places_of<std::span<const std::uint8_t>>(counts);
  constexpr std::size_t kLane = CellCounts::kLane;
  std::int32_t held = 0, sum = 0, square = 0;
  const std::uint8_t* const at = counts.data();
  const std::size_t end = (counts.size() + kLane - 1) / kLane * kLane;
  for (std::size_t i = 0; i < end; ++i) {
    const std::int16_t count = at[i];
    held += count;
    sum += count * kPlaces.place[i];
    square += count * kPlaces.square[i];
  }
  return {static_cast<std::uint64_t>(held), static_cast<std::uint64_t>(sum),
          static_cast<std::uint64_t>(square)};
}

/// Moments of the middles of the cells. In unsigned arithmetic: damaged numbers must not trap.
struct Middles {
  std::uint64_t held = 0, sum = 0, square = 0;
  explicit Middles(const RawLevels& raw) {
    const Places places = raw.counts.visit([](auto counts) { return places_of(counts); });
    const auto lowest = static_cast<std::uint64_t>(raw.lowest);
    constexpr std::uint64_t kStep = kStepCdb;
    held = places.held;
    sum = kStep * (lowest * held + places.sum);
    square = kStep * kStep * (lowest * lowest * held + 2 * lowest * places.sum + places.square);
  }
  /// What the sum of squares would be, were all values off by the same.
  std::uint64_t square_with(std::uint64_t off) const {
    const auto count = static_cast<std::int64_t>(held);
    const std::int64_t mean = count <= 0 ? 0 : static_cast<std::int64_t>(sum) / count;
    return square + 2 * static_cast<std::uint64_t>(mean) * off;
  }
};

template <class Counts>
void take_counts(RawLevels& raw, std::int64_t first_cell, const Counts& counts) {
  std::size_t first = 0, end = counts.size();
  while (first < end && counts[first] == 0) ++first;
  while (end > first && counts[end - 1] == 0) --end;
  raw.lowest = first_cell + static_cast<std::int64_t>(first);
  raw.below = first;
  raw.counts.assign(counts.begin() + static_cast<std::ptrdiff_t>(first),
                    counts.begin() + static_cast<std::ptrdiff_t>(end));
}

}  // namespace

void CellCounts::read(BitReader& bits, std::size_t size, int k) {
  const BitReader begin = bits;
  if (bytes_.size() < size + kRoom) bytes_.resize(size + kRoom);
  size_ = size;
  wide_ = !bits.golomb_bytes(bytes_.data(), size, k);
  std::fill_n(bytes_.data() + size, kLane, std::uint8_t{0});
  if (!wide_) return;
  bits = begin;
  words_.resize(size);
  bits.golombs(words_.data(), size, k);
}

void put_levels(BitWriter& bits, const RawLevels& raw, std::int64_t& near) {
  bits.golomb(raw.counts.size(), 5);
  if (raw.counts.empty()) return;
  bits.golomb(zigzag(raw.lowest - near), 3);
  near = raw.lowest;
  raw.counts.visit([&bits](auto counts) {
    const int k = best_order(counts);
    bits.bits(static_cast<unsigned>(k), 3);
    for (const std::uint64_t count : counts) bits.golomb(count, k);
  });
  const Middles middles(raw);
  bits.flag(raw.total == middles.held);
  if (raw.total != middles.held) bits.sized(raw.total - middles.held);
  const std::uint64_t off = static_cast<std::uint64_t>(raw.sum_cdb) - middles.sum;
  const std::uint64_t square =
      static_cast<std::uint64_t>(raw.sum_square_cdb) - middles.square_with(off);
  bits.flag(off == 0 && square == 0);
  if (off == 0 && square == 0) return;
  bits.sized(zigzag(static_cast<std::int64_t>(off)));
  bits.sized(zigzag(static_cast<std::int64_t>(square)));
}

bool get_levels(BitReader& bits, RawLevels& raw, std::int64_t& near) {
  raw.counts.clear();
  raw.total = raw.below = 0;
  raw.sum_cdb = raw.sum_square_cdb = 0;
  const std::uint64_t size = bits.golomb(5);
  if (size == 0) return bits.ok();
  if (size > kMostCells) return false;
  const std::int64_t further = unzigzag(bits.golomb(3));
  if (further < -2 * kFarthest || further > 2 * kFarthest) return false;
  near += further;
  raw.lowest = near;
  if (near < -kFarthest || near > kFarthest) return false;
  const int k = static_cast<int>(bits.bits(3));
  raw.counts.read(bits, size, k);
  if (!bits.ok()) return false;
  const Middles middles(raw);
  raw.total = middles.held;
  if (!bits.flag()) raw.total += bits.sized();
  std::uint64_t off = 0, square = 0;
  if (!bits.flag()) {
    off = static_cast<std::uint64_t>(unzigzag(bits.sized()));
    square = static_cast<std::uint64_t>(unzigzag(bits.sized()));
  }
  raw.sum_cdb = static_cast<std::int64_t>(middles.sum + off);
  raw.sum_square_cdb = static_cast<std::int64_t>(middles.square_with(off) + square);
  return bits.ok();
}

RawLevels raw_of(const LevelHistogram& histogram) {
  const HistogramParts parts = parts_of(histogram);
  RawLevels raw;
  take_counts(raw, parts.first_cell, parts.counts);
  raw.total = parts.total;
  raw.sum_cdb = parts.sum_cdb;
  raw.sum_square_cdb = parts.sum_square_cdb;
  return raw;
}

RawLevels raw_of(const Levels& levels) {
  RawLevels raw;
  take_counts(raw, levels.first_cell(), levels.cells());
  raw.total = levels.total();
  raw.sum_cdb = levels.sum_cdb();
  raw.sum_square_cdb = levels.sum_square_cdb();
  return raw;
}

bool to_histogram(const RawLevels& raw, LevelHistogram& out) {
  if (raw.counts.empty()) return true;
  HistogramParts parts;
  if (raw.below + raw.counts.size() > parts.counts.size()) return false;
  const std::int64_t first = raw.lowest - static_cast<std::int64_t>(raw.below);
  if (first < INT16_MIN || first > INT16_MAX) return false;
  parts.first_cell = static_cast<std::int16_t>(first);
  const bool fits = raw.counts.visit([&](auto counts) {
    for (std::size_t i = 0; i < counts.size(); ++i) {
      if (counts[i] > 0xffffU) return false;
      parts.counts[raw.below + i] = static_cast<std::uint16_t>(counts[i]);
    }
    return true;
  });
  if (!fits) return false;
  parts.total = static_cast<std::uint32_t>(raw.total);
  parts.sum_cdb = raw.sum_cdb;
  parts.sum_square_cdb = raw.sum_square_cdb;
  out = histogram_of(parts);
  return true;
}

void add_to(Levels& out, const RawLevels& raw) {
  raw.counts.visit([&](auto counts) {
    out.add_cells(raw.lowest, counts.data(), counts.size(), raw.total, raw.sum_cdb,
                  raw.sum_square_cdb);
  });
}

}  // namespace fadeward::history
