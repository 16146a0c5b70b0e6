#include "fadeward/budget/diffraction.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <map>
#include <string>
#include <utility>

#include "support/standard_csv.hpp"

namespace fadeward::budget::diffraction_test {
namespace {

Profile official_profile(int number) {
  Profile profile;
  const std::string name = "standards/p526_path" + std::to_string(number) + ".csv";
  for (const auto& row : test::read_csv(name))
    profile.points.push_back({row.at("d_km"), row.at("h_m"), 0});
  return profile;
}

// Official ITU-R Study Group 3 examples of the delta-Bullington method, P.526: 20 cases over four
// terrain profiles, effective radius 8500 km, average land, horizontal polarisation.
TEST(DeltaBullington, ReproducesTheOfficialExamples) {
  const auto rows = test::read_csv("standards/p526_delta_bullington_validation.csv");
  ASSERT_EQ(rows.size(), 20u);
  for (const auto& row : rows) {
    const int path = static_cast<int>(row.at("path"));
    SCOPED_TRACE("path " + std::to_string(path) + ", " + std::to_string(row.at("f_ghz")) + " GHz");
    const DeltaBullington loss = delta_bullington(official_profile(path), row.at("htg_m"),
                                                  row.at("hrg_m"), row.at("f_ghz") * 1e9);
    EXPECT_NEAR(loss.bullington_db, row.at("Lbulla_db"), 0.01);
    EXPECT_NEAR(loss.bullington_smooth_db, row.at("Lbulls_db"), 0.01);
    EXPECT_NEAR(loss.spherical_db, row.at("Ldsph_db"), 0.01);
    EXPECT_NEAR(loss.loss_db(), row.at("Ld_db"), 0.01);
  }
}

// Official ITU-R Study Group 3 intermediate values of P.1812, columns Lbulla, Lbulls, Ldsph and
// Ld50: how the three parts are put together. The terrain behind them is not at hand.
TEST(DeltaBullington, PutsItsPartsTogetherAsP1812Does) {
  const auto rows = test::read_csv("standards/p1812_intermediate_validation.csv");
  ASSERT_EQ(rows.size(), 63u);
  for (const auto& row : rows) {
    const DeltaBullington parts{row.at("Lbulla"), row.at("Lbulls"), row.at("Ldsph")};
    EXPECT_NEAR(parts.loss_db(), row.at("Ld50"), 1e-7);
  }
}

// Official ITU-R Study Group 3 values of P.452-18 over flat land, the one terrain of theirs that
// its name describes: 5, 100 and 1000 km, antennas 10 m above it, 0.1 to 50 GHz, vertical
// polarisation.
TEST(DeltaBullington, ReproducesP452OverFlatLand) {
  const auto rows = test::read_csv("standards/p452_flat_land_validation.csv");
  ASSERT_EQ(rows.size(), 54u);
  for (const auto& row : rows) {
    const double length_km = row.at("dtot");
    Profile flat;
    for (int n = 0; n <= 1000; ++n) flat.points.push_back({n * length_km / 1000, 0, 0});
    Ground ground;
    ground.vertical_polarisation = row.at("pol") == 2;
    const DeltaBullington loss = delta_bullington(flat, row.at("htg"), row.at("hrg"),
                                                  row.at("f") * 1e9, row.at("ae") * 1e3, ground);
    SCOPED_TRACE(std::to_string(row.at("f")) + " GHz, " + std::to_string(length_km) + " km");
    EXPECT_NEAR(loss.spherical_db, row.at("Ldsph"), 0.01);
    EXPECT_NEAR(loss.loss_db(), row.at("Ld50"), 0.01);
  }
}

Profile flat_land(double length_km, double step_km, double clutter_m) {
  Profile profile;
  const int steps = static_cast<int>(std::lround(length_km / step_km));
  for (int i = 0; i <= steps; ++i)
    profile.points.push_back({length_km * i / steps, 0, i % steps == 0 ? 0 : clutter_m});
  return profile;
}

Ground polarised(double number) {
  Ground ground;
  ground.vertical_polarisation = number == 2;
  return ground;
}

// The same source where houses of one height stand on all of the path: they count on its inner
// points, and for the smooth surface they do not.
TEST(DeltaBullington, ReproducesP452UnderClutter) {
  const auto rows = test::read_csv("standards/p452_flat_land_clutter_validation.csv");
  ASSERT_EQ(rows.size(), 54u);
  for (const auto& row : rows) {
    SCOPED_TRACE(std::to_string(row.at("f")) + " GHz, " + std::to_string(row.at("clutter_m")) +
                 " m");
    const Profile profile = flat_land(row.at("dtot"), row.at("step_km"), row.at("clutter_m"));
    const DeltaBullington loss =
        delta_bullington(profile, row.at("htg"), row.at("hrg"), row.at("f") * 1e9,
                         row.at("ae") * 1e3, polarised(row.at("pol")));
    EXPECT_NEAR(loss.spherical_db, row.at("Ldsph"), 0.01);
    EXPECT_NEAR(loss.loss_db(), row.at("Ld50"), 0.01);
  }
}

/// Heights of the ends above the smooth surface that replaces a terrain.
struct Heights {
  double near_m;
  double far_m;
};

/// Losses over that surface: a flat profile with the ends at these heights.
DeltaBullington over_smooth(const Heights& heights, const std::map<std::string, double>& row) {
  return delta_bullington(flat_land(row.at("d"), 0.1, 0), heights.near_m, heights.far_m,
                          row.at("f") * 1e9, row.at("ae") * 1e3, polarised(row.at("pol")));
}

/// The two heights at which both losses of one row come out, by Newton's method.
Heights heights_of(const std::map<std::string, double>& row) {
  const auto misfit = [&](const Heights& heights) {
    const DeltaBullington loss = over_smooth(heights, row);
    return std::pair{loss.bullington_smooth_db - row.at("Lbulls"),
                     loss.spherical_db - row.at("Ldsph")};
  };
  constexpr double kStep = 1e-4;  // of the logarithm of a height
  Heights heights{20, 120};
  for (int round = 0; round < 40; ++round) {
    const auto [a, b] = misfit(heights);
    const auto [a_near, b_near] = misfit({heights.near_m * std::exp(kStep), heights.far_m});
    const auto [a_far, b_far] = misfit({heights.near_m, heights.far_m * std::exp(kStep)});
    const double n1 = (a_near - a) / kStep, n2 = (b_near - b) / kStep;
    const double f1 = (a_far - a) / kStep, f2 = (b_far - b) / kStep;
    const double determinant = n1 * f2 - n2 * f1;
    heights.near_m *= std::exp(std::clamp(-(a * f2 - b * f1) / determinant, -0.5, 0.5));
    heights.far_m *= std::exp(std::clamp(-(n1 * b - n2 * a) / determinant, -0.5, 0.5));
  }
  return heights;
}

// P.1812 again, columns Lbulls and Ldsph: smooth earth between two heights that it does not tell.
// They belong to the path alone, so those that one frequency tells must hold for all the others,
// from 30 MHz to 6 GHz and in both polarisations.
TEST(DeltaBullington, AgreesOverOneSmoothPathAtAllFrequencies) {
  const auto rows = test::read_csv("standards/p1812_intermediate_validation.csv");
  const auto of_the_path = [](const auto& row) {
    return row.at("d") == 96.2 && row.at("htg") == 12;
  };
  const auto first = std::ranges::find_if(
      rows, [&](const auto& row) { return of_the_path(row) && row.at("f") == 1; });
  ASSERT_NE(first, rows.end());
  const Heights heights = heights_of(*first);
  int compared = 0;
  for (const auto& row : rows) {
    if (!of_the_path(row)) continue;
    SCOPED_TRACE(std::to_string(row.at("f")) + " GHz, heights " + std::to_string(heights.near_m) +
                 " and " + std::to_string(heights.far_m) + " m");
    const DeltaBullington loss = over_smooth(heights, row);
    EXPECT_NEAR(loss.bullington_smooth_db, row.at("Lbulls"), 0.01);
    EXPECT_NEAR(loss.spherical_db, row.at("Ldsph"), 0.01);
    ++compared;
  }
  EXPECT_EQ(compared, 21);
}

// Recommendation ITU-R P.526-16 eq (30), the exact form with Fresnel integrals, evaluated
// independently. The approximation eq (31) may differ by 0.11 dB. At nu = 0 the loss is 6.02 dB.
TEST(KnifeEdge, StaysNearTheExactForm) {
  const double exact[][2] = {{-0.7, 0.4659}, {-0.5, 1.8586}, {0, 6.0206},  {0.5, 10.2338},
                             {1, 13.8641},   {1.5, 16.7773}, {2, 19.0910}, {2.4, 20.6182},
                             {3, 22.5218},   {5, 26.9362},   {10, 32.9535}};
  for (const auto& [nu, loss_db] : exact) EXPECT_NEAR(knife_edge_loss_db(nu), loss_db, 0.13) << nu;
  // Eq (31) itself, evaluated independently; handbooks print 6.0, 13.9, 19.0 and 22.4 dB for nu of
  // 0, 1, 2 and 3.
  const double printed[][2] = {{-0.5, 1.9592}, {0, 6.0329},  {0.5, 10.2878}, {1, 13.9257},
                               {1.5, 16.7844}, {2, 19.0429}, {3, 22.4160},   {10, 32.8554}};
  for (const auto& [nu, loss_db] : printed)
    EXPECT_NEAR(knife_edge_loss_db(nu), loss_db, 6e-5) << nu;
  EXPECT_EQ(knife_edge_loss_db(-0.78), 0);
  EXPECT_EQ(knife_edge_loss_db(-5), 0);
}

// P.526-16 eq (33), practical form with distances in km: 0.0316 h sqrt(2 (d1 + d2) / (lambda d1
// d2)).
TEST(KnifeEdge, ParameterAgreesWithThePracticalForm) {
  const double lambda_m = 0.327642;
  const double practical = 0.0316 * 20 * std::sqrt(2 * (10.0 + 10.0) / (lambda_m * 10 * 10));
  EXPECT_NEAR(knife_edge_parameter(20, 10e3, 10e3, 915e6), practical, 0.005 * practical);
}

// P.526-16 section 4.2, worked independently at 915 MHz.
TEST(RoundedObstacle, AddsToTheKnifeEdge) {
  EXPECT_NEAR(rounded_obstacle_loss_db(20, 10e3, 10e3, 10, 915e6), 12.2104, 2e-3);
  EXPECT_NEAR(rounded_obstacle_loss_db(20, 10e3, 10e3, 100, 915e6), 12.6455, 2e-3);
  EXPECT_NEAR(rounded_obstacle_loss_db(20, 10e3, 10e3, 500, 915e6), 13.2192, 2e-3);
  EXPECT_NEAR(rounded_obstacle_loss_db(30, 5e3, 15e3, 200, 915e6), 16.9216, 2e-3);
  EXPECT_NEAR(rounded_obstacle_loss_db(0, 10e3, 10e3, 100, 915e6), 6.3534, 2e-3);
  EXPECT_DOUBLE_EQ(rounded_obstacle_loss_db(20, 10e3, 10e3, 0, 915e6),
                   knife_edge_loss_db(knife_edge_parameter(20, 10e3, 10e3, 915e6)));
}

// A clear short path loses nothing; an obstacle that exactly touches the line costs about 6 dB of
// knife edge, and the construction must not divide by nothing there.
TEST(DeltaBullington, SurvivesDegeneratePaths) {
  Profile profile;
  for (int i = 0; i <= 20; ++i) profile.points.push_back({0.05 * i, 0, 0});
  EXPECT_EQ(delta_bullington(profile, 60, 60, 915e6).loss_db(), 0);
  profile.points[10].clutter_m = 60;
  const double touching_db = delta_bullington(profile, 60, 60, 915e6, 1e15).loss_db();
  EXPECT_GT(touching_db, 6.0);
  EXPECT_LT(touching_db, 6.1 + 10.1);
  for (double height_m : {0.0, -5.0}) {
    const double loss_db = delta_bullington(profile, height_m, height_m, 915e6).loss_db();
    EXPECT_TRUE(std::isfinite(loss_db));
    EXPECT_GT(loss_db, 0);
  }
}

// Promise: 10,000 variants a second over a profile of about 3,000 points on one core; the check
// leaves room for slow and shared machines and for sanitizers.
TEST(DeltaBullington, IsQuick) {
  const Profile profile = official_profile(2);
  const auto start = std::chrono::steady_clock::now();
  double sum_db = 0;
  for (int i = 0; i < 200; ++i) sum_db += delta_bullington(profile, 10 + i, 10, 915e6).loss_db();
  const double each_ms =
      std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count() /
      200;
  RecordProperty("microseconds_each", std::to_string(each_ms * 1000));
  EXPECT_GT(sum_db, 0);
  EXPECT_LT(each_ms, 5.0);
}

}  // namespace
}  // namespace fadeward::budget::diffraction_test
