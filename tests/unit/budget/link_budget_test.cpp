#include "fadeward/budget/link_budget.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <cmath>

#include "fadeward/budget/diffraction.hpp"
#include "fadeward/budget/foliage.hpp"
#include "fadeward/budget/free_space.hpp"
#include "support/standard_csv.hpp"

namespace fadeward::budget::link_budget_test {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr double kNineMilesKm = 9 * 1.609344;
/// Official example of ITU-R P.676-13 at 1 GHz, which bounds the bands below: 0.00543956 dB/km.
constexpr double kGasOver10KmDb = 0.0543956;

/// One watt at both ends into half-wave dipoles.
LinkSettings one_watt(double distance_km) {
  LinkSettings link;
  link.name = "ridge";
  link.radio.modulation = RadioSettings::Modulation::fsk;
  link.radio.bandwidth_hz = 230e3;
  link.budget.frequency_mhz = 915;
  link.budget.distance_km = distance_km;
  link.budget.near.power_dbm = link.budget.far.power_dbm = 30;
  link.budget.near.antenna_dbi = link.budget.far.antenna_dbi = 2.15;
  return link;
}

const DirectionBudget& inbound(const LinkBudget& budget) {
  return budget.direction(Direction::inbound);
}
const DirectionBudget& outbound(const LinkBudget& budget) {
  return budget.direction(Direction::outbound);
}

// Common practice: a one-watt link with half-wave dipoles and clear line of sight carries traffic
// over nine miles, so its budget closes with room to spare.
TEST(LinkBudget, OneWattOverNineMilesCloses) {
  const LinkBudget budget = compute(one_watt(kNineMilesKm));
  EXPECT_GT(*inbound(budget).margin_db.value, 15);
  EXPECT_GT(*outbound(budget).margin_db.value, 15);
  EXPECT_THAT(budget.assumptions, Contains(HasSubstr("line of sight")));
  EXPECT_FALSE(budget.diffraction_db.value);
  EXPECT_EQ(budget.diffraction_db.reason, "no terrain profile is set");
}

// Worked by hand: free space at 915 MHz over 10 km 111.676 dB (32.4478 + 20 lg 915 + 20 lg 10),
// noise -173.975 + 10 lg 125000 + 6 = -117.006 dBm, spreading factor 7 needs -7.5 dB.
TEST(LinkBudget, CountsEveryTermOnce) {
  LinkSettings link;
  link.radio.modulation = RadioSettings::Modulation::css;
  link.radio.spreading_factor = 7;
  link.radio.bandwidth_hz = 125e3;
  link.radio.noise_figure_db = 6;
  link.budget.frequency_mhz = 915;
  link.budget.distance_km = 10;
  link.budget.extra_loss_db = 1.5;
  link.budget.near = {27, 2.15, 0.6, 0.5, 12, {}};
  link.budget.far = {20, 8, 2, 0, 6, 9};
  const LinkBudget budget = compute(link);
  EXPECT_NEAR(*budget.free_space_db.value, 111.676, 0.001);
  EXPECT_NEAR(*inbound(budget).eirp_dbm.value, 20 - 2 + 8, 1e-9);
  EXPECT_NEAR(*outbound(budget).eirp_dbm.value, 27 - 0.6 + 2.15, 1e-9);
  EXPECT_NEAR(*inbound(budget).signal_dbm.value,
              26 - 111.676 - kGasOver10KmDb - 1.5 - 0.5 + 2.15 - 0.6, 0.001);
  EXPECT_NEAR(*outbound(budget).signal_dbm.value,
              28.55 - 111.676 - kGasOver10KmDb - 1.5 - 0.5 + 8 - 2, 0.001);
  EXPECT_NEAR(inbound(budget).noise_dbm, -117.006, 0.001);
  EXPECT_NEAR(outbound(budget).noise_dbm, -114.006, 0.001);  // the far end's own figure of 9 dB
  EXPECT_NEAR(*inbound(budget).margin_db.value, -86.126 - kGasOver10KmDb + 117.006 + 7.5, 0.001);
  EXPECT_NEAR(*outbound(budget).margin_db.value, -79.126 - kGasOver10KmDb + 114.006 + 7.5, 0.001);
}

// Man-made noise of ITU-R P.372 belongs to the end that hears it: 3.596 dB on 6 dB of noise figure
// (see ManMadeNoise). What the receiver needs above it stays, also where it comes from a
// sensitivity.
TEST(LinkBudget, ManMadeNoiseBelongsToThePlace) {
  LinkSettings link = one_watt(10);
  link.radio.bandwidth_hz = 125e3;
  link.radio.sensitivity_dbm = -110;
  const LinkBudget quiet = compute(link);
  EXPECT_NEAR(inbound(quiet).sensitivity_dbm, -110, 1e-9);
  link.budget.near.man_made_noise_db = 7.875;
  const LinkBudget city = compute(link);
  EXPECT_NEAR(inbound(city).noise_dbm, -117.006 + 3.596, 0.001);
  EXPECT_NEAR(inbound(city).sensitivity_dbm, -110 + 3.596, 0.001);
  EXPECT_NEAR(*inbound(city).margin_db.value, *inbound(quiet).margin_db.value - 3.596, 0.001);
  EXPECT_DOUBLE_EQ(*outbound(city).margin_db.value, *outbound(quiet).margin_db.value);
  EXPECT_THAT(city.assumptions, Contains(HasSubstr("without man-made noise where")));
  link.budget.far.man_made_noise_db = 3;
  EXPECT_THAT(compute(link).assumptions, Contains("noise without interference"));
}

TEST(LinkBudget, SaysBitRateAndAirTimeOrWhyNot) {
  LinkSettings link = one_watt(10);
  EXPECT_EQ(compute(link).bit_rate_bps.reason, "radio.bit_rate_bps is not set");
  link.radio.bit_rate_bps = 9600;
  EXPECT_DOUBLE_EQ(*compute(link).bit_rate_bps.value, 9600);
  EXPECT_NEAR(*compute(link).time_on_air_s.value, 0.025, 1e-12);  // 30 octets by hand
  link.radio.modulation = RadioSettings::Modulation::css;
  EXPECT_THAT(compute(link).time_on_air_s.reason, HasSubstr("spreading_factor"));
}

TEST(LinkBudget, AGivenLevelWins) {
  LinkSettings link = one_watt(10);
  link.budget.inbound_signal_dbm = -100;
  link.radio.required_snr_db = -7.5;
  link.radio.noise_figure_db = 6;
  link.radio.bandwidth_hz = 125e3;
  const LinkBudget budget = compute(link);
  EXPECT_DOUBLE_EQ(*inbound(budget).signal_dbm.value, -100);
  EXPECT_TRUE(inbound(budget).signal_given);
  EXPECT_NEAR(*inbound(budget).margin_db.value, 24.506, 0.001);
  EXPECT_FALSE(outbound(budget).signal_given);
  EXPECT_NEAR(*outbound(budget).signal_dbm.value, 30 + 4.3 - 111.676 - kGasOver10KmDb, 0.001);
}

// The smallest configuration: levels given, nothing of the path known.
TEST(LinkBudget, WhatIsMissingIsEmptyWithItsReason) {
  LinkSettings link;
  link.budget.inbound_signal_dbm = link.budget.outbound_signal_dbm = -100;
  const LinkBudget given = compute(link);
  EXPECT_TRUE(inbound(given).margin_db.value);
  EXPECT_TRUE(outbound(given).availability.value);
  EXPECT_FALSE(given.free_space_db.value);
  EXPECT_EQ(given.free_space_db.reason, "budget.frequency_mhz is not set");
  EXPECT_EQ(inbound(given).eirp_dbm.reason, "budget.far.power_dbm is not set");
  EXPECT_EQ(outbound(given).eirp_dbm.reason, "budget.near.power_dbm is not set");
  EXPECT_FALSE(given.near_exposure_m.value);
  EXPECT_FALSE(given.near_exposure_m.reason.empty());

  const LinkBudget nothing = compute(LinkSettings{});
  for (const DirectionBudget& direction : nothing.directions) {
    EXPECT_FALSE(direction.signal_dbm.value);
    EXPECT_FALSE(direction.margin_db.value);
    EXPECT_FALSE(direction.availability.value);
    EXPECT_TRUE(direction.availability_method.empty());
    EXPECT_THAT(direction.availability.reason, HasSubstr("power_dbm is not set"));
  }
}

TEST(LinkBudget, ImpossibleValuesCountAsMissing) {
  LinkSettings link = one_watt(0);
  EXPECT_EQ(compute(link).free_space_db.reason, "budget.distance_km is not set");
  link = one_watt(std::nan(""));
  EXPECT_FALSE(inbound(compute(link)).margin_db.value);
  link = one_watt(10);
  link.budget.frequency_mhz = -1;
  EXPECT_FALSE(compute(link).free_space_db.value);
}

// P.833 woodland, and silence rather than an optimistic level where it does not reach.
TEST(LinkBudget, FoliageTakesItsShare) {
  LinkSettings link = one_watt(10);
  const double open_dbm = *inbound(compute(link)).signal_dbm.value;
  link.budget.foliage_m = 40;
  const LinkBudget wooded = compute(link);
  const double expected_db = woodland_loss_db(*woodland_at(915e6), 40);
  EXPECT_NEAR(*wooded.foliage_db.value, expected_db, 1e-9);
  EXPECT_LT(*wooded.foliage_leafless_db.value, *wooded.foliage_db.value);
  EXPECT_NEAR(open_dbm - *inbound(wooded).signal_dbm.value, expected_db, 1e-9);
  link.budget.frequency_mhz = 2450;
  const LinkBudget refused = compute(link);
  EXPECT_FALSE(refused.foliage_db.value);
  EXPECT_THAT(inbound(refused).signal_dbm.reason, HasSubstr("P.833"));
}

Profile hill(double height_m) {
  Profile profile;
  for (int i = 0; i <= 100; ++i) {
    const double km = 0.1 * i;
    profile.points.push_back({km, 100 + height_m * std::exp(-(km - 4) * (km - 4)), 0});
  }
  return profile;
}

TEST(LinkBudget, TerrainCostsWhatDiffractionSays) {
  LinkSettings link = one_watt(10);
  link.budget.profile = "path.csv";
  link.budget.near.height_m = link.budget.far.height_m = 10;
  const Profile profile = hill(80);
  const LinkBudget budget = compute(link, &profile);
  const double loss_db = delta_bullington(profile, 10, 10, 915e6).loss_db();
  EXPECT_GT(loss_db, 10);
  EXPECT_NEAR(*budget.diffraction_db.value, loss_db, 1e-9);
  EXPECT_NEAR(*inbound(budget).signal_dbm.value, 30 + 4.3 - 111.676 - kGasOver10KmDb - loss_db,
              0.001);
  EXPECT_LT(*budget.fresnel_clearance_ratio.value, 0);
  EXPECT_NEAR(*budget.fresnel_at_km, 4, 0.2);
  // P.526-16 eq (26) and (2): nu is the clearance in first zones times the root of 2, downwards.
  EXPECT_NEAR(*budget.knife_edge_db.value,
              knife_edge_loss_db(-std::sqrt(2) * *budget.fresnel_clearance_ratio.value), 1e-6);
  EXPECT_GT(*budget.knife_edge_db.value, 6);
  EXPECT_LT(*budget.fresnel_clearance_ratio_worst_month.value,
            *budget.fresnel_clearance_ratio.value);
  ASSERT_FALSE(budget.cautions.empty());
  EXPECT_THAT(budget.cautions.front().text, HasSubstr("obstructed"));
}

TEST(LinkBudget, AProfileThatCannotBeUsedLeavesTheLevelOpen) {
  LinkSettings link = one_watt(10);
  link.budget.profile = "path.csv";
  EXPECT_THAT(inbound(compute(link)).signal_dbm.reason, HasSubstr("was not read"));
  const Profile profile = hill(0);
  EXPECT_EQ(compute(link, &profile).diffraction_db.reason, "budget.near.height_m is not set");
  link.budget.near.height_m = 10;
  link.budget.far.height_m = -3;
  EXPECT_THAT(compute(link, &profile).diffraction_db.reason, HasSubstr("far end is below"));
  EXPECT_FALSE(inbound(compute(link, &profile)).signal_dbm.value);
}

TEST(LinkBudget, AnAntennaBelowTheTreesAroundItIsNamed) {
  LinkSettings link = one_watt(10);
  link.budget.profile = "path.csv";
  link.budget.near.height_m = link.budget.far.height_m = 40;
  Profile profile = hill(0);
  profile.points.back().clutter_m = 40;
  EXPECT_THAT(compute(link, &profile).cautions, IsEmpty());
  profile.points.back().clutter_m = 55;
  const auto cautions = compute(link, &profile).cautions;
  ASSERT_EQ(cautions.size(), 1u);
  EXPECT_THAT(cautions[0].text, HasSubstr("far antenna at 40 m is below the 55 m"));
}

TEST(LinkBudget, TheProfileGivesTheDistanceWhereNoneIsSet) {
  LinkSettings link = one_watt(10);
  const Profile profile = hill(0);
  link.budget.distance_km.reset();
  EXPECT_NEAR(*compute(link, &profile).free_space_db.value, 111.676, 0.001);
  link.budget.distance_km = 16.1;
  const auto cautions = compute(link, &profile).cautions;
  ASSERT_FALSE(cautions.empty());
  EXPECT_THAT(cautions.back().text, HasSubstr("profile in miles"));
}

// ITU-R P.530 holds from 15/d GHz, Barnett-Vigants from about 2 GHz; Rayleigh answers everywhere.
TEST(LinkBudget, PlanningMethodsRefuseOutsideTheirRange) {
  const LinkBudget budget = compute(one_watt(10));
  const auto& methods = inbound(budget).availability_by_method;
  ASSERT_EQ(methods.size(), 5u);
  EXPECT_THAT(methods[0].share.reason, HasSubstr("1500 MHz"));
  EXPECT_THAT(methods[1].share.reason, HasSubstr("2 GHz"));
  EXPECT_THAT(methods[3].share.reason, HasSubstr("no terrain profile"));
  EXPECT_TRUE(methods[4].share.value);
  EXPECT_EQ(inbound(budget).availability_method, "Rayleigh");
  const double margin_db = *inbound(budget).margin_db.value;
  EXPECT_NEAR(*inbound(budget).availability.value, std::exp(-std::pow(10, -margin_db / 10)), 1e-12);
  EXPECT_THAT(inbound(compute(one_watt(40))).availability_by_method[0].share.reason,
              HasSubstr("geoclimatic"));
}

// ITU-R P.530-19 section 2.3, worked independently: log10 K = -5, dN75 = 100, 40 km, 915 MHz,
// antennas at 100 and 150 m above sea over ground at 20 m: 30 dB down in 0.01327404 % of the
// average worst month, 40 dB in a tenth of that.
TEST(LinkBudget, MultipathWhereItsPlaceIsKnown) {
  LinkSettings link = one_watt(40);
  link.budget.near.height_m = 80;
  link.budget.far.height_m = 130;
  link.budget.multipath = {-5.0, 100.0};
  const Profile flat{{{0, 20}, {10, 20}, {40, 20}}, {}};
  const auto share = [&](double margin_db) {
    const LinkBudget plain = compute(link, &flat);
    link.budget.inbound_signal_dbm =
        inbound(plain).noise_dbm + inbound(plain).required_snr_db + margin_db;
    const LinkBudget budget = compute(link, &flat);
    EXPECT_NEAR(*inbound(budget).margin_db.value, margin_db, 1e-9);
    EXPECT_EQ(inbound(budget).availability_method, "ITU-R P.530, average worst month");
    return *inbound(budget).availability.value;
  };
  EXPECT_NEAR((1 - share(30)) / 1.327404e-4, 1, 1e-5);
  EXPECT_NEAR((1 - share(40)) / 1.327404e-5, 1, 1e-5);
  EXPECT_THAT(compute(link, &flat).assumptions, Contains(HasSubstr("the year as a whole")));
  // The transition to shallow fades: 0.705035 % at 10 dB for an occurrence factor of 10 %.
  link.budget.multipath.log10_k = -5 + std::log10(10 / 13.27404);
  EXPECT_NEAR((1 - share(10)) / 0.705035e-2, 1, 1e-5);

  const auto reason = [&](const Profile* profile) {
    const LinkBudget budget = compute(link, profile);
    return inbound(budget).availability_by_method.front().share.reason;
  };
  link.budget.profile = "path.csv";
  EXPECT_THAT(reason(nullptr), HasSubstr("heights above sea"));
  const Profile ridge{{{0, 20}, {20, 200}, {40, 20}}, {}};
  EXPECT_THAT(reason(&ridge), HasSubstr("obstructed"));
  link.budget.multipath = {};
  EXPECT_THAT(reason(&flat), HasSubstr("budget.multipath"));
}

TEST(LinkBudget, CautionsAboutRulesAndTarget) {
  LinkSettings link = one_watt(kNineMilesKm);
  link.rules.set = "us-15.247-hopping";
  link.rules.channels = 50;
  link.rules.dwell_s = 0.4;
  EXPECT_THAT(compute(link).cautions, IsEmpty());
  link.budget.near.power_dbm = 33;
  link.budget.availability = 0.999999;
  const auto cautions = compute(link).cautions;
  ASSERT_EQ(cautions.size(), 3u);
  EXPECT_EQ(cautions[0].rule, "47 CFR 15.247(b)(2)");
  EXPECT_THAT(cautions[1].text, HasSubstr("inbound"));
  EXPECT_DOUBLE_EQ(*cautions[2].limit, 0.999999);
}

// ICNIRP f/200 at 915 MHz and 4 W e.i.r.p.: 0.2638 m (worked from S = e.i.r.p. / (4 pi R^2)).
TEST(LinkBudget, ExposureBelongsToTheEndThatTransmits) {
  LinkSettings link = one_watt(10);
  link.budget.far.antenna_dbi = 6.0206;
  const LinkBudget budget = compute(link);
  EXPECT_NEAR(*budget.far_exposure_m.value, 0.2638, 1e-4);
  EXPECT_DOUBLE_EQ(*budget.near_exposure_m.value, 0.2);
}

// Promise: under 5 ms over a profile of about 3,000 points (here the longest official one).
TEST(LinkBudget, IsQuickOverALongProfile) {
  Profile profile;
  for (const auto& row : test::read_csv("standards/p526_path2.csv"))
    profile.points.push_back({row.at("d_km"), row.at("h_m"), 0});
  LinkSettings link = one_watt(profile.length_km());
  link.budget.near.height_m = link.budget.far.height_m = 20;
  const auto start = std::chrono::steady_clock::now();
  constexpr int kRounds = 50;
  for (int i = 0; i < kRounds; ++i) {
    link.budget.near.height_m = 20 + i;
    ASSERT_TRUE(compute(link, &profile).diffraction_db.value);
  }
  const std::chrono::duration<double, std::milli> spent = std::chrono::steady_clock::now() - start;
  RecordProperty("microseconds_each", std::to_string(1000 * spent.count() / kRounds));
  EXPECT_LT(spent.count() / kRounds, 5.0);
}

}  // namespace
}  // namespace fadeward::budget::link_budget_test
