#include "fadeward/estimate/median_keeper.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

namespace fadeward::estimate::median_keeper_test {
namespace {

double sorted_median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t n = values.size();
  return (values[(n - 1) / 2] + values[n / 2]) / 2;
}

TEST(MedianKeeper, EqualsSortingBeforeAndAfterTheSpill) {
  for (const std::size_t n : {1U, 2U, 3U, 360U, 4096U, 4097U, 20000U}) {
    const auto seed = static_cast<unsigned>(n);
    std::mt19937 random(seed);
    std::normal_distribution<double> level(-105, 4);
    MedianKeeper keeper;
    std::vector<double> values;
    for (std::size_t i = 0; i < n; ++i) {
      values.push_back(level(random));
      keeper.add(static_cast<std::int16_t>(std::lround(values.back() * 100)));
    }
    EXPECT_EQ(keeper.count(), n);
    EXPECT_NEAR(*keeper.median_db(), sorted_median(values), 0.0051) << "seed " << seed;
    keeper.clear();
    EXPECT_FALSE(keeper.median_db());
  }
}

}  // namespace
}  // namespace fadeward::estimate::median_keeper_test
