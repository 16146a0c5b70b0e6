#include "fadeward/estimate/median.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <vector>

namespace fadeward::estimate::median_test {
namespace {

// The definition, on sorted values.
TEST(Median, IsTheMiddleOfTheSorted) {
  constexpr unsigned kSeed = 20900;
  std::mt19937 random(kSeed);
  std::normal_distribution<double> level(-100, 5);
  for (std::size_t size = 1; size < 40; ++size) {
    std::vector<double> values(size);
    for (double& value : values) value = level(random);
    std::vector<double> sorted(values);
    std::ranges::sort(sorted);
    EXPECT_DOUBLE_EQ(median_of(values), (sorted[(size - 1) / 2] + sorted[size / 2]) / 2)
        << "seed " << kSeed << ", " << size << " values";
  }
  EXPECT_EQ(median_of({}), 0);
}

}  // namespace
}  // namespace fadeward::estimate::median_test
