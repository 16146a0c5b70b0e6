#include "fadeward/estimate/survivor_fit.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "fadeward/estimate/censored_normal.hpp"

namespace fadeward::estimate::survivor_fit_test {
namespace {

SurvivorBelief plain_normal() {
  SurvivorBelief belief;
  belief.collisions = {1, 0, 0, 0, 0, 0, 0, 0};
  belief.bends = {1, 0, 0, 0};
  belief.log_deviation_precision = 0;
  return belief;
}

/// An hour of frames: what was sent, what arrived of it.
struct Hour {
  SurvivorLevels levels;
  FrameCounts counts;
  double true_median_db = 0;
};

struct Air {
  double mean_db = 0, deviation_db = 2.8, collisions = 0, limit_sd_db = 0.65, reading_sd_db = 0.8;
  int frames = 360;
  double rice_k = 0;  ///< above 0: power of Rice fading instead of a normal level
};

Hour send(const Air& air, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> uniform;
  Hour hour;
  std::vector<double> sent;
  for (int i = 0; i < air.frames; ++i) {
    double level = air.mean_db + air.deviation_db * normal(random);
    if (air.rice_k > 0) {
      const double steady = std::sqrt(air.rice_k / (air.rice_k + 1)),
                   scatter = std::sqrt(0.5 / (air.rice_k + 1));
      const double x = steady + scatter * normal(random), y = scatter * normal(random);
      level += 10 * std::log10(x * x + y * y);
    }
    sent.push_back(level);
    const bool lost = level < air.limit_sd_db * normal(random) || uniform(random) < air.collisions;
    if (lost) {
      hour.counts.lost += 1;
      continue;
    }
    hour.counts.heard += 1;
    hour.levels.add(std::round(level + air.reading_sd_db * normal(random)), 1);
  }
  hour.levels.finish();
  std::sort(sent.begin(), sent.end());
  hour.true_median_db = (sent[(sent.size() - 1) / 2] + sent[sent.size() / 2]) / 2;
  return hour;
}

// Another algorithm for the textbook case (Cohen's lambda, itself held against his table): normal,
// one sharp limit, exact readings. Levels are spread over a decibel here, hence the wide sample.
TEST(FitSurvivors, AgreesWithCohenForASharpLimit) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> level(3.0, 9.0);
    SurvivorLevels levels;
    double sum = 0, square = 0;
    FrameCounts counts;
    for (int i = 0; i < 3000; ++i) {
      const double x = level(random);
      if (x < 0) {
        counts.lost += 1;
        continue;
      }
      counts.heard += 1;
      sum += x;
      square += x * x;
      levels.add(x, 1);
    }
    levels.finish();
    const double mean = sum / counts.heard;
    const auto cohen =
        fit_left_censored(mean, square / counts.heard - mean * mean, counts.lost / 3000, 0);
    ASSERT_TRUE(cohen);
    const auto fit = fit_survivors(levels, counts, {0, 0.05, 0.05}, plain_normal());
    ASSERT_TRUE(fit);
    EXPECT_NEAR(fit->deviation_db, cohen->deviation, 0.15) << "seed " << seed;
    EXPECT_NEAR(fit->low_db, cohen->mean - 2.3263 * cohen->deviation, 0.5) << "seed " << seed;
    EXPECT_NEAR(fit->median_db, 3.0, 0.9) << "seed " << seed;
  }
}

TEST(FitSurvivors, MedianHoldsFromFewToMostLost) {
  for (const double mean_db : {4.0, 2.0, 1.0, 0.0, -0.8, -1.8}) {
    std::mt19937_64 random(7);
    double square = 0, honest = 0;
    constexpr int kHours = 200;
    for (int i = 0; i < kHours; ++i) {
      const Hour hour = send({.mean_db = mean_db}, random);
      const auto fit = fit_survivors(hour.levels, hour.counts, {}, {});
      ASSERT_TRUE(fit);
      const double error = fit->median_db - hour.true_median_db;
      square += error * error;
      honest += std::abs(error) <= 2 * fit->median_sd_db ? 1 : 0;
    }
    EXPECT_LT(std::sqrt(square / kHours), mean_db > -1 ? 0.25 : 0.45)
        << "mean " << mean_db << ", seed 7";
    EXPECT_GT(honest / kHours, 0.88) << "mean " << mean_db << ", seed 7";
  }
}

TEST(FitSurvivors, CollisionsAreNotTakenForLowLevels) {
  std::mt19937_64 random(11);
  double off = 0, collisions = 0, square = 0;
  constexpr int kHours = 100;
  for (int i = 0; i < kHours; ++i) {
    const Hour hour = send({.mean_db = 7, .collisions = 0.2}, random);
    const auto fit = fit_survivors(hour.levels, hour.counts, {}, {});
    ASSERT_TRUE(fit);
    off += fit->median_db - hour.true_median_db;
    square += (fit->median_db - hour.true_median_db) * (fit->median_db - hour.true_median_db);
    collisions += fit->collisions;
    EXPECT_LT(fit->level_lost, 0.05);
  }
  EXPECT_NEAR(collisions / kHours, 0.2, 0.03) << "seed 11";
  EXPECT_NEAR(off / kHours, 0, 0.1) << "seed 11";
  EXPECT_LT(std::sqrt(square / kHours), 0.3) << "seed 11";
}

TEST(FitSurvivors, LevelsAloneTellWhereNobodyCounts) {
  SurvivorBelief belief;
  belief.log_deviation_precision = 100;  // the spread is known from the other direction
  belief.bends = {1, 0, 0, 0};
  std::mt19937_64 random(13);
  double off = 0, honest = 0;
  constexpr int kHours = 200;
  for (int i = 0; i < kHours; ++i) {
    const Hour hour = send({.mean_db = 1}, random);
    const auto fit = fit_survivors(hour.levels, {}, {}, belief);
    ASSERT_TRUE(fit);
    off += fit->median_db - hour.true_median_db;
    honest += std::abs(fit->median_db - hour.true_median_db) <= 2 * fit->median_sd_db ? 1 : 0;
  }
  EXPECT_NEAR(off / kHours, 0, 0.25) << "seed 13";
  EXPECT_GT(honest / kHours, 0.88) << "seed 13";
}

TEST(FitSurvivors, MedianHoldsUnderRiceFading) {
  for (const double k : {10.0, 3.2}) {
    std::mt19937_64 random(17);
    double off = 0, square = 0;
    constexpr int kHours = 150;
    for (int i = 0; i < kHours; ++i) {
      const Hour hour = send({.mean_db = 1, .deviation_db = 2, .rice_k = k}, random);
      const auto fit = fit_survivors(hour.levels, hour.counts, {}, {});
      ASSERT_TRUE(fit);
      const double error = fit->median_db - hour.true_median_db;
      off += error;
      square += error * error;
    }
    EXPECT_NEAR(off / kHours, 0, 0.15) << "K " << k << ", seed 17";
    EXPECT_LT(std::sqrt(square / kHours), 0.4) << "K " << k << ", seed 17";
  }
}

TEST(FitSurvivors, WhatTheOtherDirectionSaysCountsByItsPrecision) {
  std::mt19937_64 random(19);
  const Hour hour = send({.mean_db = 1}, random);
  SurvivorBelief belief;
  belief.median_db = 3;
  belief.median_precision = 1e6;
  EXPECT_NEAR(fit_survivors(hour.levels, {}, {}, belief)->median_db, 3, 0.02);
}

TEST(FitSurvivors, SurvivesWhateverComes) {
  EXPECT_FALSE(fit_survivors({}, FrameCounts{0, 10}, {}, {}));
  for (const double level : {-300.0, -3.0, 0.0, 20.0, 300.0}) {
    for (const double lost : {0.0, 1.0, 1e5}) {
      for (const float weight : {0.25F, 1.0F, 60.0F}) {
        SurvivorLevels levels;
        levels.add(level, weight);
        levels.finish();
        for (const bool counted : {true, false}) {
          const auto fit = fit_survivors(
              levels, counted ? std::optional(FrameCounts{1, lost}) : std::nullopt, {}, {});
          ASSERT_TRUE(fit);
          EXPECT_TRUE(std::isfinite(fit->median_db) && std::isfinite(fit->median_sd_db) &&
                      std::isfinite(fit->low_db))
              << level << ' ' << lost << ' ' << weight;
          EXPECT_GT(fit->deviation_db, 0);
          double sum = 0;
          for (const double share : fit->collisions_after) sum += share;
          EXPECT_NEAR(sum, 1, 1e-9);
        }
      }
    }
  }
}

TEST(SurvivorLevels, MomentsAreThoseOfTheValues) {
  SurvivorLevels levels;
  levels.add(1, 1);
  levels.add(4, 3);
  levels.finish();
  EXPECT_DOUBLE_EQ(levels.weight(), 4);
  EXPECT_DOUBLE_EQ(levels.mean(), 3.25);
  EXPECT_DOUBLE_EQ(levels.variance(), 1.6875);
  EXPECT_DOUBLE_EQ(levels.effective(), 1.6);  // 4^2 / (1 + 9), Kish 1965
}

}  // namespace
}  // namespace fadeward::estimate::survivor_fit_test
