#include "fadeward/budget/fresnel.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "support/standard_csv.hpp"

namespace fadeward::budget::fresnel_test {
namespace {

// ITU-R P.530-19 eq (3): F1 = 17.3 sqrt(d1 d2 / (f d)); P.526-16 eq (3): 550 sqrt(d1 d2 / (f d)).
// Their rounded constants differ from the exact form by up to 0.5 %.
TEST(FresnelRadius, AgreesWithThePracticalForms) {
  for (const auto& [d1, d2] : {std::pair{5.0, 5.0}, {10.0, 10.0}, {20.0, 20.0}, {1.0, 19.0}}) {
    const double radius_m = fresnel_radius_m(915e6, d1 * 1e3, d2 * 1e3);
    const double shape = std::sqrt(d1 * d2 / (d1 + d2));
    EXPECT_NEAR(radius_m, 17.3 * shape / std::sqrt(0.915), 0.005 * radius_m);
    EXPECT_NEAR(radius_m, 550 * shape / std::sqrt(915), 0.005 * radius_m);
  }
  // P.526-16 eq (2): zone n is sqrt(n) as wide.
  EXPECT_NEAR(fresnel_radius_m(915e6, 5e3, 5e3, 4), 2 * 28.620, 0.001);
}

// d1 d2 / (12.74 k), the usual practical form with the mean radius of 6371 km, within its rounding.
TEST(EarthBulge, AgreesWithThePracticalForm) {
  for (double k : {4.0 / 3, 1.0, 2.0 / 3})
    for (const auto& [d1, d2] : {std::pair{5.0, 5.0}, {10.0, 30.0}, {30.0, 30.0}})
      EXPECT_NEAR(earth_bulge_m(d1 * 1e3, d2 * 1e3, k * kEarthRadiusM), d1 * d2 / (12.74 * k),
                  2e-4 * d1 * d2 / (12.74 * k));
}

// Official ITU-R Study Group 3 values for P.1812 and P.452: effective radius from the lapse rate,
// columns DN and ae.
TEST(KFactor, AgreesWithTheOfficialEffectiveRadii) {
  for (const char* file : {"standards/p1812_intermediate_validation.csv",
                           "standards/p452_intermediate_validation.csv"})
    for (const auto& row : test::read_csv(file))
      EXPECT_NEAR(k_factor_of_lapse(row.at("DN")) * kEarthRadiusM * 1e-3, row.at("ae"), 4e-5);
}

// ITU-R P.530-19 eq (4), worked independently.
TEST(KFactor, WorstMonth) {
  EXPECT_NEAR(k_factor_worst_month(20), 0.5658, 5e-5);
  EXPECT_NEAR(k_factor_worst_month(50), 0.7953, 5e-5);
  EXPECT_NEAR(k_factor_worst_month(100), 0.9197, 5e-5);
}

Profile flat(double length_km, double obstacle_m) {
  Profile profile;
  for (int i = 0; i <= 10; ++i) profile.points.push_back({length_km * i / 10, 100, 0});
  profile.points[5].clutter_m = obstacle_m;
  return profile;
}

// By hand: middle of 20 km, first zone 40.475 m at 915 MHz, bulge 5.886 m at k = 4/3.
TEST(Clearance, IsTheSmallestShareOfTheFirstZone) {
  const Clearance clear = smallest_clearance(flat(20, 0), 30, 30, 915e6, kEarthRadiusM * 4 / 3);
  EXPECT_DOUBLE_EQ(clear.at_km, 10);
  EXPECT_NEAR(clear.clearance_m, 30 - 5.886, 0.001);
  EXPECT_NEAR(clear.zone_m, 40.475, 0.001);
  EXPECT_NEAR(clear.ratio, (30 - 5.886) / 40.475, 1e-4);
  const Clearance blocked = smallest_clearance(flat(20, 40), 30, 30, 915e6, kEarthRadiusM * 4 / 3);
  EXPECT_NEAR(blocked.ratio, (30 - 40 - 5.886) / 40.475, 1e-4);
}

}  // namespace
}  // namespace fadeward::budget::fresnel_test
