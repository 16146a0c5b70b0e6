#include "fadeward/estimate/change_point.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "support/standard_csv.hpp"

namespace fadeward::estimate::change_point_test {
namespace {

// Nile at Aswan: one break after 1898, means 1097.75 and 849.97, sums of squares 2835157 and
// 1597457 (Zeileis, Kleiber, Kraemer, Hornik, Computational Statistics & Data Analysis 44, 2003;
// digits from strucchange 1.5-3, sup F 75.93 with 15 % trimmed, p below 2.2e-16 there by another
// approximation). Cobb (1978) found the same year.
TEST(ChangePoint, NileBreaksAfter1898) {
  std::vector<double> years, flow;
  for (auto& row : test::read_csv("standards/nile.csv")) {
    years.push_back(row.at("time"));
    flow.push_back(row.at("value"));
  }
  const auto found = find_change_point(flow);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->last_before, 27u);
  EXPECT_EQ(years[found->last_before], 1898);
  EXPECT_NEAR(found->mean_before, 1097.75, 0.005);
  EXPECT_NEAR(found->mean_after, 849.9722, 0.00005);
  EXPECT_NEAR(found->residual_sum_one, 2835157, 0.5);
  EXPECT_NEAR(found->residual_sum_two, 1597457, 0.5);
  EXPECT_NEAR(found->statistic, 75.93, 0.005);
  EXPECT_LT(found->p, 1e-10);
}

// Andrews (1993, corrected 2003), one parameter, 15 % trimmed, from memory: 7.12, 8.68, 12.16 at
// 10, 5 and 1 %. A long series has the same limit law; its share beyond each must match, and p must
// say so.
TEST(ChangePoint, NoShiftIsFoundAsOftenAsItsPSays) {
  std::mt19937_64 random(31);
  std::normal_distribution<double> value(3, 2);
  constexpr int kSeries = 4000;
  int beyond_ten = 0, beyond_five = 0, p_ten = 0, p_five = 0;
  for (int k = 0; k < kSeries; ++k) {
    std::vector<double> series(300);
    for (double& x : series) x = value(random);
    const auto found = find_change_point(series);
    beyond_ten += found->statistic > 7.12;
    beyond_five += found->statistic > 8.68;
    p_ten += found->p < 0.10;
    p_five += found->p < 0.05;
  }
  EXPECT_NEAR(beyond_ten, 0.10 * kSeries, 0.025 * kSeries) << "seed 31";
  EXPECT_NEAR(beyond_five, 0.05 * kSeries, 0.015 * kSeries) << "seed 31";
  EXPECT_NEAR(p_ten, 0.10 * kSeries, 0.03 * kSeries) << "seed 31";
  EXPECT_NEAR(p_five, 0.05 * kSeries, 0.018 * kSeries) << "seed 31";
}

TEST(ChangePoint, FindsAPlantedShift) {
  std::mt19937_64 random(32);
  std::normal_distribution<double> noise(0, 1);
  for (int k = 0; k < 200; ++k) {
    std::vector<double> series;
    for (int i = 0; i < 120; ++i) series.push_back((i < 70 ? 10.0 : 7.0) + noise(random));
    const auto found = find_change_point(series);
    EXPECT_NEAR(static_cast<double>(found->last_before), 69, 8) << "seed 32, series " << k;
    EXPECT_LT(found->p, 1e-6) << "seed 32, series " << k;
    EXPECT_NEAR(found->mean_after - found->mean_before, -3, 1) << "seed 32, series " << k;
  }
}

TEST(ChangePoint, WithoutNoise) {
  const std::vector<double> step = {1, 1, 1, 1, 5, 5, 5, 5};
  const auto found = find_change_point(step);
  EXPECT_EQ(found->last_before, 3u);
  EXPECT_EQ(found->p, 0);
  EXPECT_EQ(find_change_point(std::vector<double>(10, 2.0))->p, 1);
}

TEST(ChangePoint, RefusesTooFewOrNoNumbers) {
  EXPECT_FALSE(find_change_point(std::vector<double>{1, 2, 3, 4, 5}));
  EXPECT_FALSE(find_change_point(std::vector<double>{1, 2, 3, std::nan(""), 4, 5, 6}));
  EXPECT_FALSE(find_change_point(std::vector<double>(10, 1.0), 0.5));
}

}  // namespace
}  // namespace fadeward::estimate::change_point_test
