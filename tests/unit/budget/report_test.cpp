#include "fadeward/budget/report.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/src.hpp>
#include <sstream>

namespace fadeward::budget::report_test {
namespace {

using ::testing::HasSubstr;

LinkSettings ridge() {
  LinkSettings link;
  link.name = "ridge \"north\"\n";
  link.radio.modulation = RadioSettings::Modulation::css;
  link.radio.spreading_factor = 7;
  link.radio.bandwidth_hz = 125e3;
  link.radio.noise_figure_db = 6;
  link.budget.frequency_mhz = 915;
  link.budget.distance_km = 10;
  link.budget.near.power_dbm = 27;
  link.budget.near.antenna_dbi = link.budget.far.antenna_dbi = 2.15;
  link.rules.set = "us-15.247-hopping";
  link.rules.channels = 20;
  return link;
}

boost::json::value parsed(const std::vector<LinkSettings>& links) {
  std::vector<Plan> plans;
  for (const LinkSettings& link : links) plans.push_back(plan_of(link));
  return boost::json::parse(to_json(plans));
}

// Read back by Boost.JSON, an independent strict parser.
TEST(BudgetJson, HasTheContractsKeys) {
  const auto json = parsed({ridge()});
  ASSERT_EQ(json.as_array().size(), 1u);
  const auto& link = json.at(0).as_object();
  EXPECT_EQ(link.at("link").as_string(), "ridge \"north\"\n");
  for (const char* key :
       {"free_space_db", "gas_db", "diffraction_db", "foliage_db", "inbound", "outbound",
        "fresnel_clearance_ratio", "at_km", "exposure_distance_m", "cautions"})
    EXPECT_TRUE(link.contains(key)) << key;
  for (const char* direction : {"inbound", "outbound"})
    for (const char* key : {"eirp_dbm", "signal_dbm", "noise_dbm", "required_snr_db", "margin_db",
                            "availability", "availability_method", "reason"})
      EXPECT_TRUE(link.at(direction).as_object().contains(key)) << direction << '.' << key;
  for (const auto& caution : link.at("cautions").as_array())
    for (const char* key : {"rule", "limit", "value", "text"})
      EXPECT_TRUE(caution.as_object().contains(key)) << key;
  EXPECT_GE(link.at("cautions").as_array().size(), 2u);
}

// 32.4478 + 20 lg 915 + 20 lg 10 = 111.676 dB; 27 + 2.15 dBm; -173.975 + 10 lg 125000 + 6 dBm.
TEST(BudgetJson, CarriesTheFigures) {
  const auto json = parsed({ridge()});
  const auto& link = json.at(0).as_object();
  EXPECT_NEAR(link.at("free_space_db").as_double(), 111.676, 0.001);
  const auto& outbound = link.at("outbound").as_object();
  EXPECT_NEAR(outbound.at("eirp_dbm").as_double(), 29.15, 1e-9);
  EXPECT_NEAR(outbound.at("signal_dbm").as_double(), 29.15 - 111.676 - 0.054 + 2.15, 0.001);
  EXPECT_NEAR(outbound.at("noise_dbm").as_double(), -117.006, 0.001);
  EXPECT_NEAR(outbound.at("required_snr_db").as_double(), -7.5, 1e-9);
  EXPECT_NEAR(outbound.at("sensitivity_dbm").as_double(), -117.006 - 7.5, 0.001);
  EXPECT_NEAR(outbound.at("margin_db").as_double(), 44.076, 0.001);
  // Regional parameters RP002-1.0.3: 5470 bit/s, rounded, at spreading factor 7 and 125 kHz.
  EXPECT_NEAR(link.at("bit_rate_bps").as_double(), 5470, 5);
  // Datasheet formula by hand: 8 + 4.25 + 8 + 5 ceil(176 / 28) symbols of 1.024 ms.
  EXPECT_NEAR(link.at("time_on_air_s").as_double(), 55.25 * 1.024e-3, 1e-6);
  EXPECT_GT(outbound.at("availability").as_double(), 0.9999);
  EXPECT_EQ(outbound.at("availability_method").as_string(), "Rayleigh");
  EXPECT_TRUE(outbound.at("reason").is_null());
  EXPECT_NEAR(link.at("exposure_distance_m").at("near").as_double(), 0.2, 1e-9);
}

TEST(BudgetJson, WhatIsNotKnownIsNullAndSaysWhy) {
  const auto json = parsed({ridge()});
  const auto& link = json.at(0).as_object();
  EXPECT_TRUE(link.at("diffraction_db").is_null());
  EXPECT_TRUE(link.at("fresnel_clearance_ratio").is_null());
  EXPECT_TRUE(link.at("at_km").is_null());
  EXPECT_TRUE(link.at("exposure_distance_m").at("far").is_null());
  EXPECT_EQ(link.at("reasons").at("diffraction_db").as_string(), "no terrain profile is set");
  const auto& inbound = link.at("inbound").as_object();
  for (const char* key :
       {"eirp_dbm", "signal_dbm", "margin_db", "availability", "availability_method"})
    EXPECT_TRUE(inbound.at(key).is_null()) << key;
  EXPECT_THAT(std::string(inbound.at("reason").as_string()), HasSubstr("far.power_dbm"));
}

TEST(BudgetJson, ATargetOfManyNinesSurvives) {
  LinkSettings link = ridge();
  link.rules = {};
  link.budget.availability = 0.999999;
  const auto cautions = parsed({link}).at(0).at("cautions").as_array();
  ASSERT_EQ(cautions.size(), 1u);
  EXPECT_DOUBLE_EQ(cautions[0].at("limit").as_double(), 0.999999);
}

TEST(BudgetJson, OneObjectPerLink) {
  EXPECT_EQ(parsed({}).as_array().size(), 0u);
  EXPECT_EQ(parsed({ridge(), LinkSettings{}}).as_array().size(), 2u);
}

TEST(BudgetText, CarriesTheCautionsOfEveryPlan) {
  const std::string text = to_text(std::vector{plan_of(ridge())});
  for (const char* part : {"exposure distance, near", "live antenna", "Masts", "lightning",
                           "local regulator", "47 CFR 15.247(a)(1)(i)", "Taken for granted",
                           "111.68 dB", "44.08 dB", "far.power_dbm is not set", "5469 bit/s",
                           "a frame of 20 bytes takes 0.057 s", "sensitivity"})
    EXPECT_THAT(text, HasSubstr(part));
  EXPECT_THAT(text, HasSubstr("Link ridge \"north\"\\x0a"));
}

// By hand: 30 octets at 115,200 bit/s are 2.08 ms.
TEST(BudgetText, ShortFramesKeepTheirFigures) {
  LinkSettings link = ridge();
  link.radio = {};
  link.radio.bit_rate_bps = 115'200;
  EXPECT_THAT(to_text(std::vector{plan_of(link)}), HasSubstr("takes 0.0021 s"));
}

TEST(BudgetText, PointsStandUnderEachOther) {
  LinkSettings link = ridge();
  link.budget.far.power_dbm = 10;
  std::stringstream text(to_text(std::vector{plan_of(link)}));
  std::size_t column = 0;
  int rows = 0;
  for (std::string line; std::getline(text, line);) {
    if (!line.ends_with(" dBm") || line.starts_with("    - ")) continue;
    const auto point = line.find('.', 26);
    if (rows++ == 0) column = point;
    EXPECT_EQ(point, column) << line;
  }
  EXPECT_EQ(rows, 4);
}

Profile flat(double length_km) {
  Profile profile;
  for (int i = 0; i <= 20; ++i) profile.points.push_back({length_km * i / 20, 100, 0});
  return profile;
}

LinkSettings planned() {
  LinkSettings link = ridge();
  link.name = "ridge <b>";
  link.budget.far.power_dbm = 27;
  link.budget.near.height_m = link.budget.far.height_m = 25;
  link.budget.profile = "ridge.csv";
  return link;
}

TEST(BudgetJson, ListsWhatChangesWouldGain) {
  const Profile profile = flat(10);
  const auto json = boost::json::parse(to_json(std::vector{plan_of(planned(), &profile)}));
  const auto& list = json.at(0).at("improvements").as_array();
  ASSERT_GE(list.size(), 5u);
  for (const auto& one : list)
    for (const char* key : {"what", "inbound_db", "outbound_db", "weaker_db", "price", "breaks"})
      EXPECT_TRUE(one.as_object().contains(key)) << key;
  EXPECT_TRUE(parsed({LinkSettings{}}).at(0).at("improvements").as_array().empty());
}

TEST(BudgetText, ListsWhatChangesWouldGain) {
  const Profile profile = flat(10);
  const std::string text = to_text(std::vector{plan_of(planned(), &profile)});
  EXPECT_THAT(text, HasSubstr("Which decibel is cheapest"));
  EXPECT_THAT(text, HasSubstr("far antenna 5 m higher (30 m)"));
}

// P.530 from 15/d GHz, Barnett-Vigants from 2 GHz on: what is silent says why, the rest has
// figures.
TEST(BudgetText, ShowsEveryMethodOrWhyItIsSilent) {
  const Profile profile = flat(10);
  const std::string text = to_text(std::vector{plan_of(planned(), &profile)});
  for (const char* part :
       {"Share of time the margin lasts", "  Rayleigh  ", "  Rice, direct wave", "  lognormal",
        "  - ITU-R P.530: over 10 km valid from 15/d = 1500 MHz\n", "  - Barnett-Vigants: fitted"})
    EXPECT_THAT(text, HasSubstr(part));
}

// Only the near end's power is known: what is heard at the far end has its methods all the same.
TEST(BudgetText, MethodsOfTheDirectionThatIsKnown) {
  const std::vector plans{plan_of(ridge())};
  const std::string text = to_text(plans);
  EXPECT_THAT(text, ::testing::ContainsRegex("  Rayleigh +- +99[.][0-9]+ %   no margin: .*far"));
  EXPECT_THAT(text, ::testing::ContainsRegex("availability +- +99[.][0-9]+ %   by Rayleigh"));
  EXPECT_THAT(text, HasSubstr("  - ITU-R P.530: over 10 km valid from 15/d = 1500 MHz\n"));
  EXPECT_TRUE(to_html(plans).find("Rayleigh<span class=\"note\">no margin") != std::string::npos);
}

TEST(BudgetPage, StandsAloneAndEscapes) {
  const Profile profile = flat(10);
  const std::string page = to_html(std::vector{plan_of(planned(), &profile)});
  for (const char* part : {"ridge &lt;b&gt;", "<svg class=\"path\"", "From power to margin",
                           "Which decibel is cheapest", "free space", "-111.68", "live antenna",
                           "prefers-color-scheme: dark", "@media print", "47 CFR 15.247(a)(1)(i)"})
    EXPECT_TRUE(page.find(part) != std::string::npos) << part;
  for (const char* part : {"http", "<b>ridge", "ridge <b>", ">nan", ">inf", "src="})
    EXPECT_TRUE(page.find(part) == std::string::npos) << part;
}

TEST(BudgetPage, WithoutAPathItSaysWhy) {
  const std::string page = to_html(std::vector{plan_of(LinkSettings{}), plan_of(ridge())});
  EXPECT_TRUE(page.find("The path is not drawn: no terrain profile is set.") != std::string::npos);
  EXPECT_TRUE(page.find("Margin inbound is not known") != std::string::npos);
  EXPECT_TRUE(page.find("<h1>Link budgets</h1>") != std::string::npos);
}

}  // namespace
}  // namespace fadeward::budget::report_test
