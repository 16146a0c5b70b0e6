// Histograms there and back: filled with known levels, compared with the one that was filled.
#include "fadeward/history/level_code.hpp"

#include <gtest/gtest.h>

#include <limits>
#include <random>
#include <string>

namespace fadeward::history::level_code_test {
namespace {

/// One after the other, as in a row; empty: damaged.
std::vector<Levels> there_and_back(const std::vector<Levels>& all) {
  std::string bytes;
  {
    BitWriter bits(bytes);
    std::int64_t near = 0;
    for (const Levels& one : all) put_levels(bits, raw_of(one), near);
    bits.bits(0x155, 9);
  }
  BitReader bits(bytes);
  std::int64_t near = 0;
  std::vector<Levels> out;
  RawLevels raw;  // the same for all, as the reader does
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (!get_levels(bits, raw, near)) return {};
    add_to(out.emplace_back(), raw);
  }
  EXPECT_EQ(bits.bits(9), 0x155U) << "what follows is read from where it begins";
  EXPECT_TRUE(bits.ok());
  return out;
}

/// Of any width, cells that hold none to millions, levels on and off the grid.
Levels some_levels(std::mt19937& random) {
  const auto below = [&random](unsigned most) { return static_cast<unsigned>(random()) % most; };
  Levels out;
  const unsigned width = 1 + below(below(8) == 0 ? 900 : 60);
  const double middle = below(300) - 200.0, step = below(2) == 0 ? 0.5 : 0.13;
  const unsigned values = below(200), most = below(6) == 0 ? 3000000 : 1 + below(12);
  for (unsigned i = 0; i < values; ++i) out.add(middle + step * below(width), 1 + below(most));
  return out;
}

TEST(LevelCode, BringsLevelsBackOneAfterTheOther) {
  for (unsigned seed = 1; seed <= 500; ++seed) {
    std::mt19937 random(seed);
    std::vector<Levels> all;
    for (int i = 0; i < 4; ++i) all.push_back(some_levels(random));
    const auto back = there_and_back(all);
    ASSERT_EQ(back.size(), all.size()) << "seed " << seed;
    for (std::size_t i = 0; i < all.size(); ++i)
      EXPECT_TRUE(back[i] == all[i]) << "seed " << seed << ", histogram " << i;
  }
}

TEST(LevelCode, BringsCountsBackAtTheEdgesOfWhatAByteAndAWordHold) {
  for (const std::uint64_t count :
       {std::uint64_t{1}, std::uint64_t{254}, std::uint64_t{255}, std::uint64_t{256},
        std::uint64_t{65535}, std::uint64_t{65536}, std::uint64_t{1} << 33}) {
    Levels levels;
    for (int i = 0; i < 40; ++i) levels.add(-100 + 0.5 * i, i % 3 == 0 ? count : 1);
    const auto back = there_and_back({levels});
    ASSERT_EQ(back.size(), 1U) << count;
    EXPECT_TRUE(back[0] == levels) << count;
  }
}

TEST(LevelCode, BringsTheFarthestLevelsBack) {
  Levels levels;
  levels.add(-4000);
  levels.add(4000);
  const auto back = there_and_back({levels, Levels{}, levels});
  ASSERT_EQ(back.size(), 3U);
  EXPECT_TRUE(back[0] == levels);
  EXPECT_TRUE(back[1] == Levels{});
  EXPECT_TRUE(back[2] == levels);
}

TEST(LevelCode, WhatIsTooWideForAHistogramOfABinIsRefused) {
  Levels wide;
  wide.add(-100);
  wide.add(-100 + 0.5 * LevelHistogram::kCells);
  LevelHistogram out;
  EXPECT_FALSE(to_histogram(raw_of(wide), out));
  Levels full;
  full.add(-100, 0x10000);
  EXPECT_FALSE(to_histogram(raw_of(full), out));
  Levels fits;
  fits.add(-100, 0xffff);
  EXPECT_TRUE(to_histogram(raw_of(fits), out));
  EXPECT_EQ(out.total(), 0xffffU);
}

TEST(LevelCode, BitsAtRandomAreReadOrRefusedAndNeverGrow) {
  for (unsigned seed = 1; seed <= 3000; ++seed) {
    std::mt19937 random(seed);
    std::string bytes(random() % 60, '\0');
    for (char& byte : bytes) byte = static_cast<char>(random() & random());
    BitReader bits(bytes);
    RawLevels raw;
    std::int64_t near = 0;
    while (get_levels(bits, raw, near) && bits.ok()) {
      Levels out;
      add_to(out, raw);
      ASSERT_LE(out.cells().size(), 16384U) << "seed " << seed;
    }
  }
}

}  // namespace
}  // namespace fadeward::history::level_code_test
