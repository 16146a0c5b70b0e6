#include "fadeward/base/level_histogram.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

namespace fadeward::level_histogram_test {
namespace {

double sorted_quantile(std::vector<double> values, double q) {
  std::sort(values.begin(), values.end());
  const double at = q * static_cast<double>(values.size()) - 0.5;
  const auto low = static_cast<std::size_t>(std::clamp(at, 0.0, static_cast<double>(values.size() - 1)));
  const std::size_t high = std::min(low + 1, values.size() - 1);
  return values[low] + (values[high] - values[low]) * std::clamp(at - static_cast<double>(low), 0.0, 1.0);
}

TEST(LevelHistogram, QuantilesAndMomentsOfASample) {
  for (unsigned seed = 1; seed <= 4; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(-104.3, 3.1);
    LevelHistogram histogram;
    std::vector<double> values;
    double sum = 0, square = 0;
    for (int i = 0; i < 5000; ++i) {
      values.push_back(std::round(level(random) * 100) / 100);
      histogram.add(values.back());
      sum += values.back();
      square += values.back() * values.back();
    }
    const double mean = sum / 5000;
    EXPECT_EQ(histogram.total(), 5000U);
    EXPECT_NEAR(*histogram.mean_db(), mean, 1e-6) << "seed " << seed;
    EXPECT_NEAR(*histogram.deviation_db(), std::sqrt((square / 5000 - mean * mean) * 5000 / 4999), 1e-4) << "seed " << seed;
    for (const double q : {0.01, 0.1, 0.5, 0.9, 0.99})
      EXPECT_NEAR(*histogram.quantile_db(q), sorted_quantile(values, q), 0.25) << "seed " << seed << " q " << q;
  }
}

// The promise on which every roll-up rests: merging gives what one histogram would have held.
TEST(LevelHistogram, MergingIsExact) {
  for (unsigned seed = 1; seed <= 4; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(-100, 4);
    LevelHistogram whole, merged;
    std::vector<LevelHistogram> parts(8);
    whole.add(-100);
    parts[0].add(-100);
    for (int i = 0; i < 4000; ++i) {
      const double value = level(random) + (i % 8);   // parts begin at different places of the grid
      whole.add(value);
      parts[static_cast<std::size_t>(i % 8)].add(value);
    }
    for (const LevelHistogram& part : parts) merged.merge(part);
    EXPECT_EQ(merged.total(), whole.total());
    EXPECT_DOUBLE_EQ(*merged.mean_db(), *whole.mean_db()) << "seed " << seed;
    EXPECT_DOUBLE_EQ(*merged.deviation_db(), *whole.deviation_db()) << "seed " << seed;
    for (const double q : {0.01, 0.5, 0.99}) EXPECT_DOUBLE_EQ(*merged.quantile_db(q), *whole.quantile_db(q)) << "seed " << seed;
  }
}

TEST(LevelHistogram, ExtremesAndEmptiness) {
  LevelHistogram histogram;
  EXPECT_FALSE(histogram.mean_db());
  EXPECT_FALSE(histogram.deviation_db());
  EXPECT_FALSE(histogram.quantile_db(0.5));
  histogram.merge(LevelHistogram{});
  EXPECT_EQ(histogram.total(), 0U);
  histogram.add(-100);
  EXPECT_DOUBLE_EQ(*histogram.quantile_db(0.5), -100);
  EXPECT_FALSE(histogram.deviation_db());
  histogram.add(1e9);      // falls into the last cell
  histogram.add(-1e9);
  EXPECT_EQ(histogram.total(), 3U);
  for (int i = 0; i < 70000; ++i) histogram.add(-100);   // a full cell stays full
  EXPECT_NEAR(*histogram.quantile_db(0.5), -100, 0.01);
}

}  // namespace
}  // namespace fadeward::level_histogram_test
