#include "fadeward/estimate/trend.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <random>
#include <vector>

#include "support/standard_csv.hpp"

namespace fadeward::estimate::trend_test {
namespace {

using test::read_csv;

std::vector<double> column(const std::string& file, const std::string& name) {
  std::vector<double> out;
  for (auto& row : read_csv("standards/" + file)) out.push_back(row.at(name));
  return out;
}

// US EPA, Unified Guidance (EPA 530/R-09-007, 2009), example 17-6; digits as in the help of the
// public statistics package EnvStats 3.1.
TEST(MannKendall, EpaExample17_6) {
  const auto sulfate = column("epa2009_ex17_6_sulfate_mann_kendall.csv", "Sulfate.ppm");
  const MannKendall test = mann_kendall(sulfate);
  EXPECT_EQ(test.s, 194);
  EXPECT_EQ(test.variance, 1428);
  EXPECT_NEAR(test.s / test.pairs, 0.7667984, 5e-8);
  EXPECT_NEAR(test.z(), 5.107322, 5e-7);
  EXPECT_NEAR(test.p(), 3.267574e-07, 5e-13);
}

TEST(TheilSen, EpaExample17_6) {
  const auto slope = theil_sen(column("epa2009_ex17_6_sulfate_mann_kendall.csv", "Sampling.Date"),
                               column("epa2009_ex17_6_sulfate_mann_kendall.csv", "Sulfate.ppm"));
  ASSERT_TRUE(slope);
  EXPECT_NEAR(slope->slope, 26.6666667, 5e-7);
  EXPECT_NEAR(slope->low, 20.0, 5e-6);
  EXPECT_NEAR(slope->high, 35.71182, 5e-6);
}

// Same guidance, examples 14-8 and 14-10: twelve months, three years.
TEST(SeasonalKendall, EpaExample14_8) {
  const auto years = column("epa2009_ex14_8_seasonal_kendall.csv", "Year");
  const auto values = column("epa2009_ex14_8_seasonal_kendall.csv", "Unadj.Conc");
  std::vector<int> months;
  for (std::size_t i = 0; i < years.size(); ++i) months.push_back(static_cast<int>(i % 12));
  const auto found = seasonal_kendall(months, years, values);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->seasons, 12u);
  EXPECT_EQ(found->test.s, 35);
  EXPECT_NEAR(found->test.variance, 43, 1e-9);
  EXPECT_NEAR(found->test.s / found->test.pairs, 0.9722222, 5e-8);
  EXPECT_NEAR(found->test.z(), 5.1849514, 5e-8);
  EXPECT_NEAR(found->test.p(), 2.160712e-07, 5e-13);
  EXPECT_NEAR(found->slope.slope, 0.06, 1e-9);
  EXPECT_NEAR(found->slope.low, 0.05786914, 5e-9);
  EXPECT_NEAR(found->slope.high, 0.07213086, 5e-9);
  EXPECT_NEAR(found->heterogeneity, 0.1071882, 5e-8);
}

// The order of the points is that of their times, not of the lists.
TEST(SeasonalKendall, OrderOfTheListsDoesNotMatter) {
  const std::vector<int> seasons = {1, 0, 1, 0, 0, 1};
  const std::vector<double> times = {2, 3, 1, 1, 2, 3}, values = {20, 3, 10, 1, 2, 30};
  const auto found = seasonal_kendall(seasons, times, values);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->test.s, 6);
}

// Nile 1871-1970: S -1387, Sen slope -2.6 a year (Kendall's test and Sen's slope of R 4.2.2).
TEST(MannKendall, Nile) {
  const auto flow = column("nile.csv", "value");
  EXPECT_EQ(mann_kendall(flow).s, -1387);
  EXPECT_NEAR(mann_kendall(flow).z(), -4.131, 0.005);  // without continuity correction there
  EXPECT_NEAR(theil_sen(column("nile.csv", "time"), flow)->slope, -2.6, 1e-9);
}

// All orders of n values: the exact distribution of S (Gilbert 1987, table A18 and exact counts).
TEST(MannKendall, ExactTailOfSmallSamples) {
  for (auto& row : read_csv("standards/mann_kendall_exact_tail_computed.csv")) {
    const int n = static_cast<int>(row.at("n"));
    if (n > 7) continue;
    std::vector<double> order(static_cast<std::size_t>(n));
    std::iota(order.begin(), order.end(), 1.0);
    double all = 0, reached = 0;
    do {
      all += 1;
      reached += mann_kendall(order).s >= row.at("s");
    } while (std::next_permutation(order.begin(), order.end()));
    EXPECT_NEAR(reached / all, row.at("p"), 6e-7) << n << " " << row.at("s");
  }
}

std::vector<double> autoregressive(std::size_t n, double correlation, std::mt19937_64& random) {
  std::normal_distribution<double> step(0, std::sqrt(1 - correlation * correlation));
  double now = std::normal_distribution<double>(0, 1)(random);
  std::vector<double> out;
  for (std::size_t i = 0; i < n; ++i) {
    out.push_back(now);
    now = correlation * now + step(random);
  }
  return out;
}

// Without a trend a test at 5 % should reject in about 5 % of the cases (Hamed and Rao 1998,
// figure for AR(1)); the ordinary test rejects many times as often.
TEST(MannKendallAutocorrelated, KeepsItsLevelUnderCorrelation) {
  std::mt19937_64 random(11);
  int ordinary = 0, corrected = 0;
  constexpr int kSeries = 600;
  for (int i = 0; i < kSeries; ++i) {
    const auto series = autoregressive(150, 0.6, random);
    ordinary += mann_kendall(series).p() < 0.05;
    corrected += mann_kendall_autocorrelated(series).p() < 0.05;
  }
  EXPECT_GT(ordinary, 0.25 * kSeries) << "seed 11";
  EXPECT_LT(corrected, 0.13 * kSeries) << "seed 11";
  EXPECT_GT(corrected, 0.02 * kSeries) << "seed 11";
}

TEST(MannKendallAutocorrelated, ChangesLittleForIndependentValues) {
  std::mt19937_64 random(12);
  int rejected = 0;
  for (int i = 0; i < 600; ++i)
    rejected += mann_kendall_autocorrelated(autoregressive(150, 0, random)).p() < 0.05;
  EXPECT_LT(rejected, 600 * 0.10) << "seed 12";
  EXPECT_GT(rejected, 600 * 0.02) << "seed 12";
}

TEST(MannKendallAutocorrelated, StillSeesATrend) {
  std::mt19937_64 random(13);
  auto series = autoregressive(200, 0.5, random);
  for (std::size_t i = 0; i < series.size(); ++i) series[i] += 0.02 * static_cast<double>(i);
  EXPECT_LT(mann_kendall_autocorrelated(series).p(), 0.001) << "seed 13";
}

// The interval of 95 % holds the true slope in about 95 % of independent samples.
TEST(TheilSen, IntervalHoldsTheTruth) {
  std::mt19937_64 random(14);
  std::normal_distribution<double> noise(0, 2);
  int held = 0;
  for (int k = 0; k < 400; ++k) {
    std::vector<double> times, values;
    for (int i = 0; i < 40; ++i) {
      times.push_back(i);
      values.push_back(7 - 0.3 * i + noise(random));
    }
    const auto slope = theil_sen(times, values);
    held += slope->low <= -0.3 && -0.3 <= slope->high;
  }
  EXPECT_GT(held, 400 * 0.915) << "seed 14";
  EXPECT_LT(held, 400 * 0.985) << "seed 14";
}

TEST(TheilSen, AQuarterOfWildValuesDoesNotMoveIt) {
  std::vector<double> times, values;
  for (int i = 0; i < 100; ++i) {
    times.push_back(i);
    values.push_back(i % 4 == 0 ? -1000.0 * (i % 3) : 5 + 0.25 * i);
  }
  EXPECT_NEAR(theil_sen(times, values)->slope, 0.25, 0.05);
}

TEST(Trend, LongSeriesAreThinnedNotRefused) {
  std::vector<double> times, values;
  for (int i = 0; i < 100'000; ++i) {
    times.push_back(i);
    values.push_back(2.0 * i);
  }
  EXPECT_NEAR(theil_sen(times, values)->slope, 2, 1e-9);
  EXPECT_LE(mann_kendall(values).pairs, kMostTrendPoints * (kMostTrendPoints - 1) / 2.0);
  EXPECT_GT(mann_kendall_autocorrelated(values).z(), 5);
}

TEST(Trend, NothingForNothing) {
  EXPECT_EQ(mann_kendall({}).p(), 1);
  EXPECT_EQ(mann_kendall_autocorrelated(std::vector<double>{1.0}).z(), 0);
  EXPECT_EQ(mann_kendall(std::vector<double>(20, 3.0)).z(), 0);
  EXPECT_FALSE(theil_sen(std::vector<double>{1, 1}, std::vector<double>{2, 3}));
  EXPECT_FALSE(theil_sen(std::vector<double>{1}, std::vector<double>{2, 3}));
  EXPECT_FALSE(seasonal_kendall(std::vector<int>{1, 2}, std::vector<double>{1, 2},
                                std::vector<double>{1, 2}));
}

}  // namespace
}  // namespace fadeward::estimate::trend_test
