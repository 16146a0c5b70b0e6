#include "fadeward/budget/exposure.hpp"

#include <gtest/gtest.h>

namespace fadeward::budget::exposure_test {
namespace {

// ICNIRP 1998 and 2020: f/200 W/m2 from 400 to 2000 MHz. 47 CFR 1.1310 Table 1 (B): f/1500 mW/cm2 =
// f/150 W/m2 from 300 to 1500 MHz, 0.2 mW/cm2 below and 1 mW/cm2 above.
TEST(ExposureLimit, FollowsThePublishedRows) {
  EXPECT_NEAR(*exposure_limit_w_per_m2(915e6, ExposureLimit::icnirp), 4.575, 1e-9);
  EXPECT_NEAR(*exposure_limit_w_per_m2(915e6, ExposureLimit::us_1_1310), 6.100, 1e-9);
  EXPECT_NEAR(*exposure_limit_w_per_m2(915e6), 4.575, 1e-9);
  EXPECT_NEAR(*exposure_limit_w_per_m2(400e6, ExposureLimit::icnirp), 2, 1e-9);
  EXPECT_NEAR(*exposure_limit_w_per_m2(2450e6), 10, 1e-9);
  EXPECT_NEAR(*exposure_limit_w_per_m2(1500e6, ExposureLimit::us_1_1310), 10, 1e-9);
  EXPECT_NEAR(*exposure_limit_w_per_m2(169e6), 2, 1e-9);
  EXPECT_FALSE(exposure_limit_w_per_m2(13.56e6));
  EXPECT_FALSE(exposure_limit_w_per_m2(0));
}

// S = e.i.r.p. / (4 pi R^2), worked independently for 4 W (36.0206 dBm) at 915 MHz.
TEST(ExposureDistance, FollowsTheFarField) {
  EXPECT_NEAR(*exposure_distance_m(36.0206, 915e6, ExposureLimit::icnirp), 0.2638, 1e-4);
  EXPECT_NEAR(*exposure_distance_m(36.0206, 915e6, ExposureLimit::us_1_1310), 0.2284, 1e-4);
  EXPECT_NEAR(*exposure_distance_m(36.0206, 915e6), 0.2638, 1e-4);
}

TEST(ExposureDistance, IsNeverBelowTheNearField) {
  EXPECT_DOUBLE_EQ(*exposure_distance_m(30, 915e6), 0.2);  // far field says 0.1319 m
  EXPECT_DOUBLE_EQ(*exposure_distance_m(-300, 868e6), 0.2);
}

}  // namespace
}  // namespace fadeward::budget::exposure_test
