#include "fadeward/base/decibel.hpp"

#include <gtest/gtest.h>

namespace fadeward::decibel_test {
namespace {

TEST(Decibel, TwoEqualLevelsAreThreeDecibelsMore) {
  EXPECT_NEAR(add_dbm(-100, -100), -96.98970004, 1e-8);
  EXPECT_NEAR(add_dbm(-100, -200), -100, 1e-9);
  EXPECT_DOUBLE_EQ(add_dbm(-90, -95), add_dbm(-95, -90));
  EXPECT_NEAR(db_from_ratio(ratio_from_db(-17.25)), -17.25, 1e-12);
}

// kT at 290 K is -173.9752 dBm/Hz with the exact Boltzmann constant; kTB in the usual bandwidths.
TEST(Decibel, ThermalNoise) {
  EXPECT_NEAR(kThermalDbmPerHz, -173.9752, 5e-5);
  EXPECT_NEAR(receiver_noise_dbm(62500, 0), -126.016, 0.001);
  EXPECT_NEAR(receiver_noise_dbm(125000, 0), -123.006, 0.001);
  EXPECT_NEAR(receiver_noise_dbm(500000, 6), -110.985, 0.001);
}

}  // namespace
}  // namespace fadeward::decibel_test
