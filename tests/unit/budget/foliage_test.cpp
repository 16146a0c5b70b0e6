#include "fadeward/budget/foliage.hpp"

#include <gtest/gtest.h>

#include "support/standard_csv.hpp"

namespace fadeward::budget::foliage_test {
namespace {

// Recommendation ITU-R P.833-10 Table 1.
TEST(Woodland, GivesTheTableAtItsFrequencies) {
  const auto rows = test::read_csv("standards/p833_10_woodland_table1.csv");
  ASSERT_EQ(rows.size(), 5u);
  for (const auto& row : rows) {
    const auto wood = woodland_at(row.at("f_mhz") * 1e6);
    ASSERT_TRUE(wood);
    EXPECT_NEAR(wood->specific_db_per_m, row.at("gamma_db_per_m"), 1e-9);
    EXPECT_NEAR(wood->ceiling_db, row.at("am_db"), 1e-9);
  }
}

// P.833-10 eq (2) with the site fits, at 915 MHz: St. Petersburg 24.0 dB (2.1 dB below its own
// table at 949 MHz), and the figure's reading of about 0.2 dB/m at 1 GHz, good to 20 %.
TEST(Woodland, LiesNearTheOtherStatementsOfTheRecommendation) {
  const auto wood = woodland_at(915e6);
  ASSERT_TRUE(wood);
  EXPECT_NEAR(wood->ceiling_db, 24.017, 2.5);
  EXPECT_NEAR(woodland_at(1e9)->specific_db_per_m, 0.2, 0.04);
}

// P.833-10 eq (1) with 0.17 dB/m and 26.5 dB, worked independently.
TEST(Woodland, SaturatesWithDepth) {
  const auto wood = woodland_at(949e6);
  ASSERT_TRUE(wood);
  const double in_leaf[][2] = {{5, 0.837},    {10, 1.647},   {20, 3.191},  {50, 7.272},
                               {100, 12.548}, {200, 19.154}, {500, 25.428}};
  for (const auto& [depth_m, loss_db] : in_leaf)
    EXPECT_NEAR(woodland_loss_db(*wood, depth_m), loss_db, 0.0006) << depth_m;
  const double leafless[][2] = {{20, 2.687}, {50, 6.216}, {100, 10.973}, {500, 24.670}};
  for (const auto& [depth_m, loss_db] : leafless)
    EXPECT_NEAR(woodland_loss_db(*wood, depth_m, false), loss_db, 0.0006) << depth_m;
  EXPECT_EQ(woodland_loss_db(*wood, 0), 0);
}

TEST(Woodland, RefusesOtherFrequencies) {
  EXPECT_FALSE(woodland_at(100e6));
  EXPECT_FALSE(woodland_at(2450e6));
  EXPECT_FALSE(woodland_at(0));
}

}  // namespace
}  // namespace fadeward::budget::foliage_test
