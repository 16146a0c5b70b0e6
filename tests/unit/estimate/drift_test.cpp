#include "fadeward/estimate/drift.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

namespace fadeward::estimate::drift_test {
namespace {

struct Series {
  std::vector<double> times;
  std::vector<double> values;
};

/// `shape` of the day plus noise that forgets with a time constant of two days.
template <class Shape>
Series series(int days, double deviation, unsigned seed, const Shape& shape) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal(0, deviation);
  const double kept = std::exp(-0.5);
  double noise = normal(random);
  Series out;
  for (int day = 0; day < days; ++day) {
    out.times.push_back(day);
    out.values.push_back(shape(day) + noise);
    noise = kept * noise + std::sqrt(1 - kept * kept) * normal(random);
  }
  return out;
}

TEST(Drift, FindsSlopeAndLevelWithinTheirErrors) {
  int slope_held = 0, level_held = 0;
  constexpr int kSeries = 300;
  for (unsigned seed = 1; seed <= kSeries; ++seed) {
    const auto [times, values] = series(120, 0.5, seed, [](int day) { return 20 - 0.05 * day; });
    const auto drift = find_drift(times, values);
    ASSERT_TRUE(drift) << "seed " << seed;
    EXPECT_LT(drift->z(), -4) << "seed " << seed;
    EXPECT_LT(drift->p, 0.01) << "seed " << seed;
    slope_held += std::abs(drift->slope + 0.05) < 2 * std::sqrt(drift->slope_variance);
    level_held += std::abs(drift->level - (20 - 0.05 * 119)) < 2 * std::sqrt(drift->level_variance);
  }
  // Two standard errors hold 95 %; the choice of the place costs some of them.
  EXPECT_GT(slope_held, kSeries * 0.80) << "seeds 1 to 300";
  EXPECT_GT(level_held, kSeries * 0.80) << "seeds 1 to 300";
}

TEST(Drift, FindsWhereALevelBeganToFall) {
  double sum = 0;
  for (unsigned seed = 1; seed <= 100; ++seed) {
    const auto [times, values] =
        series(200, 0.4, seed, [](int day) { return 20 - 0.08 * std::max(0, day - 150); });
    const auto drift = find_drift(times, values);
    ASSERT_TRUE(drift);
    EXPECT_NEAR(drift->since, 150, 30) << "seed " << seed;
    sum += drift->since;
  }
  EXPECT_NEAR(sum / 100, 150, 6) << "seeds 1 to 100";
}

TEST(Drift, NoneInSteadyNoise) {
  int found = 0;
  for (unsigned seed = 1; seed <= 1000; ++seed) {
    const auto [times, values] = series(90, 0.7, seed, [](int) { return 12.0; });
    const auto drift = find_drift(times, values);
    found += drift && std::abs(drift->z()) > 4 && drift->p < 0.01;
  }
  EXPECT_LE(found, 10) << "seeds 1 to 1000";
}

TEST(Drift, AStepIsNoDrift) {
  int found = 0, located = 0;
  for (unsigned seed = 1; seed <= 200; ++seed)
    for (const int since : {6, 10, 20, 40}) {
      const auto [times, values] =
          series(120, 0.5, seed, [=](int day) { return day < 120 - since ? 20.0 : 16.0; });
      const auto drift = find_drift(times, values);
      found += drift && std::abs(drift->z()) > 4 && drift->p < 0.01 && !drift->levelled;
      // Fewer than fourteen days since the step are too few for an answer.
      located += drift ? std::abs(drift->record_from - (120 - since)) <= 3 : since < 14;
    }
  EXPECT_LE(found, 8) << "seeds 1 to 200";
  EXPECT_GE(located, 4 * 200 * 0.98) << "seeds 1 to 200";
}

TEST(Drift, OneThatCameToItsEndIsSaidToHaveLevelled) {
  int judged_over = 0;
  for (unsigned seed = 1; seed <= 100; ++seed) {
    const auto [times, values] =
        series(150, 0.4, seed, [](int day) { return 20 - 0.1 * std::clamp(day - 90, 0, 40); });
    const auto drift = find_drift(times, values);
    judged_over += !drift || drift->levelled || std::abs(drift->z()) < 4;
  }
  EXPECT_GE(judged_over, 80) << "seeds 1 to 100";
}

TEST(Drift, SingleWildValuesDoNotMatter) {
  auto [times, values] = series(100, 0.3, 5, [](int) { return 15.0; });
  for (std::size_t i = 3; i < values.size(); i += 11) values[i] -= 20;
  const auto drift = find_drift(times, values);
  ASSERT_TRUE(drift);
  EXPECT_NEAR(drift->level, 15, 0.5);
  EXPECT_LT(std::abs(drift->z()), 4);
}

TEST(Drift, TooFewOrUnequalIsNone) {
  const std::vector<double> short_one(13, 1.0), long_one(14, 1.0);
  EXPECT_FALSE(find_drift(short_one, short_one));
  EXPECT_FALSE(find_drift(long_one, short_one));
  EXPECT_FALSE(find_drift({}, {}));
  const auto all_at_once = find_drift(long_one, long_one);
  if (all_at_once) {
    EXPECT_EQ(all_at_once->z(), 0);
  }
}

}  // namespace
}  // namespace fadeward::estimate::drift_test
