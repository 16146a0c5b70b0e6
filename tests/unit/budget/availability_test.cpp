#include "fadeward/budget/availability.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <cmath>
#include <limits>

#include "support/standard_csv.hpp"

namespace fadeward::budget::availability_test {
namespace {

using ::testing::HasSubstr;

// The usual planning table: 90, 99, 99.9 and 99.99 % for 10, 20, 30 and 40 dB under the mean.
TEST(Rayleigh, FollowsThePlanningTable) {
  EXPECT_NEAR(rayleigh_outage(10), 0.0951626, 1e-7);
  EXPECT_NEAR(1 - rayleigh_outage(20), 0.99005, 1e-5);
  EXPECT_NEAR(1 - rayleigh_outage(30), 0.9990005, 1e-7);
  EXPECT_NEAR(1 - rayleigh_outage(40), 0.999900005, 1e-9);
  EXPECT_NEAR(rayleigh_outage_below_median(0), 0.5, 1e-12);
  EXPECT_NEAR(rayleigh_outage_below_median(20), 0.00690750, 1e-8);
  for (double outage : {0.1, 0.05, 0.01, 1e-3, 1e-5})
    EXPECT_NEAR(rayleigh_outage(rayleigh_fade_db(outage)), outage, 1e-12);
  EXPECT_NEAR(rayleigh_fade_db(0.001), 29.998, 5e-4);
}

// The same probability from the Marcum Q function, tabulated independently, and from the
// non-central chi-squared distribution of Boost.Math.
TEST(Rician, AgreesWithTwoIndependentForms) {
  const auto rows = test::read_csv("standards/rice_fade_probability_computed.csv");
  for (const auto& row : rows) {
    const double k_db = row.at("k_db");
    const double fade_db = row.at("fade_db");
    const double outage = rician_outage(k_db, fade_db);
    EXPECT_NEAR(outage / row.at("prob"), 1, 2e-6) << k_db << ' ' << fade_db;
    if (!std::isfinite(k_db)) continue;
    const double k = std::pow(10, k_db / 10);
    const boost::math::non_central_chi_squared direct(2, 2 * k);
    EXPECT_NEAR(outage / boost::math::cdf(direct, 2 * (1 + k) * std::pow(10, -fade_db / 10)), 1,
                1e-9)
        << k_db << ' ' << fade_db;
  }
}

TEST(Rician, WithoutADominantPathIsRayleigh) {
  const double none = -std::numeric_limits<double>::infinity();
  EXPECT_NEAR(rician_outage(none, 20), rayleigh_outage(20), 1e-12);
  EXPECT_NEAR(rician_outage(25, 0), 0.5, 0.05);
  EXPECT_LT(rician_outage(100, 3), 1e-9);
  EXPECT_NEAR(rician_outage(100, -3), 1, 1e-9);
}

// Quantiles of the normal distribution (any statistical table): 1.28155, 1.64485, 2.32635, 3.09023.
TEST(Lognormal, FollowsTheNormalTable) {
  EXPECT_NEAR(lognormal_outage(8 * 1.28155, 8), 0.1, 1e-6);
  EXPECT_NEAR(lognormal_outage(6 * 1.64485, 6), 0.05, 1e-6);
  EXPECT_NEAR(lognormal_outage(4 * 2.32635, 4), 0.01, 1e-6);
  EXPECT_NEAR(lognormal_outage(10 * 3.09023, 10), 0.001, 1e-6);
}

// ITU-R P.530-19 section 2.3, worked independently with stated geoclimatic factors.
TEST(P530, OccurrenceFactor) {
  EXPECT_NEAR(p530_occurrence_percent({40, 0.915, 100, 150, 20}, -5.0, 100), 13.27404, 1e-4);
  EXPECT_NEAR(p530_occurrence_percent({60, 0.915, 300, 250, 50}, -5.5, 100), 5.656652, 1e-5);
}

// The transition to shallow fades of P.530-19 section 2.3.2 for occurrence factors of 1, 10 and
// 100 %, worked independently. The path gives the factor; log10 K is shifted to make it exact.
TEST(P530, AllDepths) {
  const MultipathPath path{40, 0.915, 100, 150, 20};
  const double base = std::log10(p530_occurrence_percent(path, 0, 20));
  const double depths_db[] = {5, 10, 15, 20, 25, 30};
  const double percent[3][6] = {{1.08240, 0.128816, 0.0308981, 0.00937556, 0.00316228, 0.001},
                                {3.19325, 0.705035, 0.238299, 0.0859845, 0.0307603, 0.01},
                                {9.23657, 3.81743, 1.82987, 0.788352, 0.299731, 0.1}};
  for (int row = 0; row < 3; ++row)
    for (int i = 0; i < 6; ++i) {
      const auto outage = p530_worst_month_outage(path, row - base, 20, depths_db[i]);
      ASSERT_TRUE(outage) << outage.error().message;
      EXPECT_NEAR(*outage * 100 / percent[row][i], 1, 2e-5) << row << ' ' << depths_db[i];
    }
}

TEST(P530, RefusesOutsideItsRange) {
  const auto reason = [](double d, double f, double fade) {
    const auto outage = p530_worst_month_outage({d, f, 100, 150, 20}, -5, 20, fade);
    return outage ? std::string("answered") : outage.error().message;
  };
  EXPECT_EQ(reason(40, 0.915, 20), "answered");
  EXPECT_THAT(reason(5, 0.915, 20), HasSubstr("longer than 5 km"));
  EXPECT_THAT(reason(10, 0.915, 20), HasSubstr("1500 MHz"));
  EXPECT_THAT(reason(400, 0.915, 20), HasSubstr("300 km"));
  EXPECT_THAT(reason(40, 60, 20), HasSubstr("37 GHz"));
  EXPECT_THAT(reason(40, 0.915, -1), HasSubstr("margin"));
  EXPECT_THAT(reason(std::nan(""), 0.915, 20), HasSubstr("5 km"));
}

// Barnett: r = a (f/4) D^3 1e-5 with D in miles; Vigants: b for the climate. 6 GHz, 30 miles, 40
// dB, average terrain, inland: 99.998988 % (handbook form, worked independently).
TEST(BarnettVigants, AgreesWithTheFormInMiles) {
  const auto outage = barnett_vigants_outage(30 * 1.609344, 6, 40);
  ASSERT_TRUE(outage);
  EXPECT_NEAR(*outage, 1.0125e-5, 1e-8);
  EXPECT_NEAR(*barnett_vigants_outage(48.28, 6, 40, Terrain::smooth, Climate::humid_coast) /
                  *barnett_vigants_outage(48.28, 6, 40),
              8, 1e-9);
  EXPECT_NEAR(
      *barnett_vigants_outage(48.28, 6, 40, Terrain::mountainous, Climate::mountain_or_dry) /
          *barnett_vigants_outage(48.28, 6, 40),
      0.125, 1e-9);
}

TEST(BarnettVigants, RefusesOutsideItsRange) {
  EXPECT_THAT(barnett_vigants_outage(40, 0.915, 20).error().message, HasSubstr("2 GHz"));
  EXPECT_THAT(barnett_vigants_outage(0, 6, 20).error().message, HasSubstr("160 km"));
  EXPECT_THAT(barnett_vigants_outage(80, 6, 2).error().message, HasSubstr("deep fades"));
}

}  // namespace
}  // namespace fadeward::budget::availability_test
