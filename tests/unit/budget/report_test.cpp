#include "fadeward/budget/report.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/src.hpp>
#include <sstream>

namespace fadeward::budget {
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

boost::json::value parsed(const std::vector<LinkBudget>& budgets) {
  return boost::json::parse(to_json(budgets));
}

// Read back by Boost.JSON, an independent strict parser.
TEST(BudgetJson, HasTheContractsKeys) {
  const auto json = parsed({compute(ridge())});
  ASSERT_EQ(json.as_array().size(), 1u);
  const auto& link = json.at(0).as_object();
  EXPECT_EQ(link.at("link").as_string(), "ridge \"north\"\n");
  for (const char* key : {"free_space_db", "diffraction_db", "foliage_db", "inbound", "outbound",
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
  const auto json = parsed({compute(ridge())});
  const auto& link = json.at(0).as_object();
  EXPECT_NEAR(link.at("free_space_db").as_double(), 111.676, 0.001);
  const auto& outbound = link.at("outbound").as_object();
  EXPECT_NEAR(outbound.at("eirp_dbm").as_double(), 29.15, 1e-9);
  EXPECT_NEAR(outbound.at("signal_dbm").as_double(), 29.15 - 111.676 + 2.15, 0.001);
  EXPECT_NEAR(outbound.at("noise_dbm").as_double(), -117.006, 0.001);
  EXPECT_NEAR(outbound.at("required_snr_db").as_double(), -7.5, 1e-9);
  EXPECT_NEAR(outbound.at("margin_db").as_double(), 44.13, 0.001);
  EXPECT_GT(outbound.at("availability").as_double(), 0.9999);
  EXPECT_EQ(outbound.at("availability_method").as_string(), "Rayleigh");
  EXPECT_TRUE(outbound.at("reason").is_null());
  EXPECT_NEAR(link.at("exposure_distance_m").at("near").as_double(), 0.2, 1e-9);
}

TEST(BudgetJson, WhatIsNotKnownIsNullAndSaysWhy) {
  const auto json = parsed({compute(ridge())});
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
  const auto cautions = parsed({compute(link)}).at(0).at("cautions").as_array();
  ASSERT_EQ(cautions.size(), 1u);
  EXPECT_DOUBLE_EQ(cautions[0].at("limit").as_double(), 0.999999);
}

TEST(BudgetJson, OneObjectPerLink) {
  EXPECT_EQ(parsed({}).as_array().size(), 0u);
  EXPECT_EQ(parsed({compute(ridge()), compute(LinkSettings{})}).as_array().size(), 2u);
}

TEST(BudgetText, CarriesTheCautionsOfEveryPlan) {
  const std::string text = to_text(std::vector{compute(ridge())});
  for (const char* part : {"exposure distance, near", "live antenna", "Masts", "lightning",
                           "local regulator", "47 CFR 15.247(a)(1)(i)", "Taken for granted",
                           "111.68 dB", "44.13 dB", "far.power_dbm is not set"})
    EXPECT_THAT(text, HasSubstr(part));
  EXPECT_THAT(text, HasSubstr("Link ridge \"north\"\\x0a"));
}

TEST(BudgetText, PointsStandUnderEachOther) {
  LinkSettings link = ridge();
  link.budget.far.power_dbm = 10;
  std::stringstream text(to_text(std::vector{compute(link)}));
  std::size_t column = 0;
  int rows = 0;
  for (std::string line; std::getline(text, line);) {
    if (line.find(" dBm") == std::string::npos || line.find("    - ") == 0) continue;
    const auto point = line.find('.', 26);
    if (rows++ == 0) column = point;
    EXPECT_EQ(point, column) << line;
  }
  EXPECT_EQ(rows, 3);
}

}  // namespace
}  // namespace fadeward::budget
