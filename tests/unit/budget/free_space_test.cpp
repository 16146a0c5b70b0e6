#include "fadeward/budget/free_space.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "support/standard_csv.hpp"

namespace fadeward::budget::free_space_test {
namespace {

// ITU-R P.452-18 eq (8), P.1812-8 eq (8): 92.4 + 20 lg f(GHz) + 20 lg d(km). P.525-5 prints 32.4
// for MHz. The constants are rounded: 0.06 dB.
TEST(FreeSpace, AgreesWithTheConstantOfTheRecommendations) {
  for (double mhz : {433.0, 868.0, 902.0, 915.0, 928.0, 2450.0})
    for (double km : {0.1, 1.0, 5.0, 14.2, 60.0, 100.0})
      EXPECT_NEAR(free_space_loss_db(mhz * 1e6, km * 1e3),
                  32.4 + 20 * std::log10(mhz) + 20 * std::log10(km), 0.06)
          << mhz << " MHz, " << km << " km";
}

// Official ITU-R Study Group 3 intermediate values for P.1812, column Lbfs over the slant distance.
TEST(FreeSpace, AgreesWithTheOfficialIntermediateValues) {
  const auto rows = test::read_csv("standards/p1812_intermediate_validation.csv");
  ASSERT_EQ(rows.size(), 63u);
  for (const auto& row : rows) {
    const double rise_km = (row.at("hts") - row.at("hrs")) * 1e-3;
    const double slant_km = std::hypot(row.at("d"), rise_km);
    EXPECT_NEAR(free_space_loss_db(row.at("f") * 1e9, slant_km * 1e3), row.at("Lbfs"), 0.06);
  }
}

// 4 pi d / lambda with the defined speed of light, worked independently to three decimals.
TEST(FreeSpace, ExactForm) {
  EXPECT_NEAR(free_space_loss_db(433e6, 1e3), 85.178, 0.0005);
  EXPECT_NEAR(free_space_loss_db(868e6, 10e3), 111.218, 0.0005);
  EXPECT_NEAR(free_space_loss_db(915e6, 20e3), 117.697, 0.0005);
  EXPECT_NEAR(free_space_loss_db(928e6, 100e3), 131.799, 0.0005);
  EXPECT_NEAR(wavelength_m(915e6), 0.327642, 5e-7);
}

TEST(FreeSpace, NeverAGain) { EXPECT_EQ(free_space_loss_db(915e6, 0.001), 0); }

}  // namespace
}  // namespace fadeward::budget::free_space_test
