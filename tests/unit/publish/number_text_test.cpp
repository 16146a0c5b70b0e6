#include "fadeward/publish/number_text.hpp"

#include <gtest/gtest.h>

#include <limits>
#include <random>
#include <string>

namespace fadeward::publish::number_text_test {
namespace {

template <class Value>
std::string written(Value value) {
  char room[kNumberRoom];
  return {room, write_number(room, value)};
}

/// What the standard library finds the shortest.
std::string shortest(double value) {
  char room[kNumberRoom];
  return {room, std::to_chars(room, room + kNumberRoom, value).ptr};
}

TEST(NumberText, QuartersAreWhatTheLibraryWrites) {
  const unsigned seed = 20;
  std::mt19937_64 random(seed);
  for (const std::int64_t most : {8LL, 1'000LL, 4'000'000LL, 100'000'000'000LL})
    for (int i = 0; i < 20'000; ++i) {
      const auto quarters =
          static_cast<std::int64_t>(random() % static_cast<std::uint64_t>(2 * most)) - most;
      const double value = static_cast<double>(quarters) / 4;
      if (quarters % 4 == 0)
        ASSERT_EQ(written(value), std::to_string(quarters / 4));  // never with an exponent
      else
        ASSERT_EQ(written(value), shortest(value)) << "seed " << seed;
    }
}

TEST(NumberText, AllOthersAreWhatTheLibraryWrites) {
  const unsigned seed = 21;
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> level(-150, 150), small(0, 1e-6);
  for (int i = 0; i < 20'000; ++i) {
    const double a = level(random), b = small(random);
    ASSERT_EQ(written(a), shortest(a)) << "seed " << seed;
    ASSERT_EQ(written(b), shortest(b)) << "seed " << seed;
  }
}

TEST(NumberText, Edges) {
  EXPECT_EQ(written(0.0), "0");
  EXPECT_EQ(written(-0.0), "0");
  EXPECT_EQ(written(-0.25), "-0.25");
  EXPECT_EQ(written(-117.5), "-117.5");
  EXPECT_EQ(written(999'999'999'999'999.0), "999999999999999");
  EXPECT_EQ(written(1e15), "1e+15");
  const double most = std::numeric_limits<double>::max();
  EXPECT_EQ(written(-most), shortest(-most));
  EXPECT_EQ(written(std::numeric_limits<double>::denorm_min()), "5e-324");
  EXPECT_EQ(written(std::numeric_limits<std::uint64_t>::max()), "18446744073709551615");
  EXPECT_LE(written(-std::numeric_limits<double>::min()).size() + 4, std::size_t{kNumberRoom});
}

}  // namespace
}  // namespace fadeward::publish::number_text_test
