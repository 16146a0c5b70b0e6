#include "fadeward/link/saturation.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

namespace fadeward::link::saturation_test {
namespace {

double quarter(double db) { return std::round(db * 4) / 4; }

TEST(Saturation, LearnsACeiling) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(-80, 2), noise(0, 0.3);
    SaturationLearner learner;
    for (int i = 0; i < 300; ++i) learner.add(std::round(level(random)), quarter(10.5 + noise(random)));
    ASSERT_TRUE(learner.ceiling_db()) << "seed " << seed;
    EXPECT_GT(*learner.ceiling_db(), 8.5) << "seed " << seed;
    EXPECT_LT(*learner.ceiling_db(), 10.6) << "seed " << seed;
  }
}

TEST(Saturation, AnHonestSnrHasNone) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(-112, 2), noise(0, 0.5);
    SaturationLearner learner;
    for (int i = 0; i < 500; ++i) {
      const double l = level(random);
      learner.add(std::round(l), quarter(l + 117 + noise(random)));
      ASSERT_FALSE(learner.ceiling_db()) << "seed " << seed << " frame " << i;
    }
  }
}

// Interference breaks the proportion of SNR to RSSI too, but it scatters.
TEST(Saturation, InterferenceIsNotACeiling) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(-105, 1.5), noise(0, 0.5);
    std::exponential_distribution<double> burst(1 / 3.0);
    SaturationLearner learner;
    for (int i = 0; i < 500; ++i) {
      const double l = level(random);
      learner.add(std::round(l), quarter(l + 112 - burst(random) + noise(random)));
      ASSERT_FALSE(learner.ceiling_db()) << "seed " << seed << " frame " << i;
    }
  }
}

}  // namespace
}  // namespace fadeward::link::saturation_test
