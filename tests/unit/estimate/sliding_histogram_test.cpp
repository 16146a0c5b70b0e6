#include "fadeward/estimate/sliding_histogram.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <deque>
#include <random>
#include <vector>

namespace fadeward::estimate::sliding_histogram_test {
namespace {

struct Entry {
  double value;
  std::uint16_t cell;
  std::uint16_t weight;
};

// The same definition, written down without any state: mid-distribution over the held values.
double brute_quantile(const std::deque<Entry>& window, double q) {
  std::vector<std::pair<int, double>> cells;
  double total = 0;
  for (const Entry& entry : window) {
    total += entry.weight;
    auto it = std::find_if(cells.begin(), cells.end(), [&](const auto& c) { return c.first == entry.cell; });
    if (it == cells.end())
      cells.emplace_back(entry.cell, entry.weight);
    else
      it->second += entry.weight;
  }
  std::sort(cells.begin(), cells.end());
  std::vector<std::pair<double, double>> middles;   // cumulated share, level
  double below = 0;
  for (const auto& [cell, weight] : cells) {
    middles.emplace_back(below + weight / 2, SlidingHistogram::level_of(cell));
    below += weight;
  }
  const double wanted = q * total;
  if (wanted <= middles.front().first) return middles.front().second;
  if (wanted >= middles.back().first) return middles.back().second;
  std::size_t i = 1;
  while (middles[i].first < wanted) ++i;
  const auto& [left_at, left] = middles[i - 1];
  const auto& [right_at, right] = middles[i];
  return left + (right - left) * (wanted - left_at) / (right_at - left_at);
}

TEST(SlidingHistogram, EqualsBruteForceWhileSliding) {
  for (unsigned seed = 1; seed <= 4; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(15, 4);
    std::uniform_int_distribution<int> weight(4, 64);
    SlidingHistogram histogram;
    std::deque<Entry> window;
    for (int i = 0; i < 3000; ++i) {
      // A step half way, and values in whole decibels in the second part.
      double value = level(random) + (i > 1500 ? -12 : 0);
      if (i > 1000) value = std::round(value);
      const Entry entry{value, SlidingHistogram::cell_of(value), static_cast<std::uint16_t>(weight(random))};
      window.push_back(entry);
      histogram.add(entry.cell, entry.weight);
      if (window.size() > 200) {
        histogram.remove(window.front().cell, window.front().weight);
        window.pop_front();
      }
      if (i % 7 != 0) continue;
      for (const double q : {0.01, 0.3, 0.5, 0.99})
        ASSERT_NEAR(*histogram.quantile_db(q), brute_quantile(window, q), 1e-9) << "seed " << seed << " i " << i << " q " << q;
    }
  }
}

// Rounding to whole decibels must not move the median of a spread sample.
TEST(SlidingHistogram, MedianOfRoundedValuesIsUnbiased) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    std::mt19937 random(seed);
    for (const double truth : {10.0, 10.25, 10.5, 10.75}) {
      std::normal_distribution<double> level(truth, 1.5);
      SlidingHistogram histogram;
      for (int i = 0; i < 3000; ++i) histogram.add(SlidingHistogram::cell_of(std::round(level(random))), 16);
      EXPECT_NEAR(*histogram.quantile_db(0.5), truth, 0.1) << "seed " << seed << " truth " << truth;
    }
  }
}

TEST(SlidingHistogram, EmptyAndExtremes) {
  SlidingHistogram histogram;
  EXPECT_FALSE(histogram.quantile_db(0.5));
  EXPECT_FALSE(histogram.deviation_db());
  histogram.add(SlidingHistogram::cell_of(1e9), 16);
  EXPECT_DOUBLE_EQ(*histogram.quantile_db(0.5), 63.75);
  histogram.remove(SlidingHistogram::cell_of(1e9), 16);
  EXPECT_FALSE(histogram.quantile_db(0.5));
  histogram.add(SlidingHistogram::cell_of(-1e9), 16);
  EXPECT_DOUBLE_EQ(*histogram.quantile_db(0.5), -64);
  EXPECT_DOUBLE_EQ(*histogram.deviation_db(), 0);
}

TEST(SlidingHistogram, SmoothMedianIsThatOfSpreadValues) {
  EXPECT_FALSE(SlidingHistogram{}.smooth_median_db());
  for (unsigned seed = 1; seed <= 20; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(seed - 10.0, 2.5);
    SlidingHistogram histogram;
    std::vector<double> spread;   // each value as 400 points over the decibel around it
    for (int i = 0; i < 300; ++i) {
      const double value = std::round(level(random) * 4) / 4;
      histogram.add(SlidingHistogram::cell_of(value), 16);
      for (int part = 0; part < 400; ++part) spread.push_back(value + (part + 0.5) / 400 - 0.5);
    }
    const auto middle = spread.begin() + static_cast<std::ptrdiff_t>(spread.size() / 2);
    std::nth_element(spread.begin(), middle, spread.end());
    EXPECT_NEAR(*histogram.smooth_median_db(), *middle, 0.03) << "seed " << seed;
  }
}

TEST(SlidingHistogram, SmoothMedianOfOneValueIsThatValue) {
  SlidingHistogram histogram;
  histogram.add(SlidingHistogram::cell_of(7.25), 16);
  EXPECT_DOUBLE_EQ(*histogram.smooth_median_db(), 7.25);
  histogram.add(SlidingHistogram::cell_of(9.25), 16);   // apart: between them
  EXPECT_DOUBLE_EQ(*histogram.smooth_median_db(), 8.25);
}

}  // namespace
}  // namespace fadeward::estimate::sliding_histogram_test
