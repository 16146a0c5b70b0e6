#include "fadeward/budget/rules.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

namespace fadeward::budget::rules_test {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;

LinkSettings hopping() {
  LinkSettings link;
  link.rules.set = "us-15.247-hopping";
  link.rules.channels = 50;
  link.rules.dwell_s = 0.4;
  link.radio.bandwidth_hz = 230e3;
  link.budget.frequency_mhz = 915;
  link.budget.near.power_dbm = link.budget.far.power_dbm = 30;
  link.budget.near.antenna_dbi = link.budget.far.antenna_dbi = 6;
  return link;
}

/// The caution that cites `rule`; fails where there is none.
Caution cited(const LinkSettings& link, const std::string& rule) {
  for (const Caution& caution : check_rules(link))
    if (caution.rule == rule) return caution;
  ADD_FAILURE() << "nothing cites " << rule;
  return {};
}

std::string all_of(const LinkSettings& link) {
  std::string text;
  for (const Caution& caution : check_rules(link))
    text += caution.rule + ": " + caution.text + "\n";
  return text;
}

// 47 CFR 15.247: 902-928 MHz, 50 channels, 0.4 s in 20 s, 1 W with 6 dBi (36 dBm e.i.r.p.).
TEST(UsHopping, OnTheLimitsIsWithinThem) { EXPECT_EQ(all_of(hopping()), ""); }

// 47 CFR 15.247(a)(1)(i): below 250 kHz at least 50 channels, from there on 25, dwell in 20 and 10
// s.
TEST(UsHopping, ChannelsDependOnBandwidth) {
  LinkSettings link = hopping();
  link.rules.channels = 49;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)(1)(i)").limit, 50);
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)(1)(i)").value, 49);
  link.radio.bandwidth_hz = 250e3;
  link.budget.near.power_dbm = link.budget.far.power_dbm = 23.9;
  EXPECT_EQ(all_of(link), "");
  EXPECT_DOUBLE_EQ(limits_of(link).dwell_period_s->value, 10);
  link.rules.channels = 24;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)(1)(i)").limit, 25);
  link.rules.channels = 25;
  link.radio.bandwidth_hz = 600e3;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)(1)(i)").limit, 500e3);
}

// 47 CFR 15.247(b)(2): 1 W from 50 channels, 0.25 W (23.98 dBm) with 25 to 49.
TEST(UsHopping, PowerDependsOnChannels) {
  LinkSettings link = hopping();
  link.budget.far.power_dbm = 30.5;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(b)(2)").limit, 30);
  EXPECT_THAT(cited(link, "47 CFR 15.247(b)(2)").text, HasSubstr("far end"));
  link = hopping();
  link.rules.channels = 30;
  link.radio.bandwidth_hz = 300e3;
  EXPECT_NEAR(*cited(link, "47 CFR 15.247(b)(2)").limit, 23.98, 0.005);
}

// 47 CFR 15.247(b)(4): one dB less for each dB of antenna gain above 6 dBi.
TEST(UsHopping, GainAboveSixCostsPower) {
  LinkSettings link = hopping();
  link.budget.near.antenna_dbi = 9;
  const Caution caution = cited(link, "47 CFR 15.247(b)(4)");
  EXPECT_DOUBLE_EQ(*caution.limit, 27);
  EXPECT_DOUBLE_EQ(*caution.value, 30);
  link.budget.near.feeder_db = 3;
  EXPECT_EQ(all_of(link), "");
}

TEST(UsHopping, NamesWhatIsNotStated) {
  LinkSettings link;
  link.rules.set = "us-15.247-hopping";
  const auto cautions = check_rules(link);
  EXPECT_GE(cautions.size(), 5u);  // frequency, both powers, channels, dwell
  for (const Caution& caution : cautions) {
    EXPECT_FALSE(caution.value);
    EXPECT_TRUE(caution.limit);
    EXPECT_THAT(caution.text, HasSubstr("not stated"));
  }
}

TEST(UsHopping, DwellAndBand) {
  LinkSettings link = hopping();
  link.rules.dwell_s = 0.5;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)(1)(i)").limit, 0.4);
  link = hopping();
  link.budget.frequency_mhz = 868;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)").limit, 902);
  link.budget.frequency_mhz = 927.95;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)").limit, 928);
}

// Datasheet formula: 20 bytes take 0.3707 s at spreading factor 10 and 0.7414 s at 11, 125 kHz.
TEST(UsHopping, SlowChirpsOutlastTheDwell) {
  LinkSettings link = hopping();
  link.radio.modulation = RadioSettings::Modulation::css;
  link.radio.bandwidth_hz = 125e3;
  link.radio.spreading_factor = 10;
  EXPECT_EQ(all_of(link), "");
  link.radio.spreading_factor = 11;
  EXPECT_NEAR(*cited(link, "47 CFR 15.247(a)(1)(i)").value, 0.741376, 1e-6);
}

// 47 CFR 15.247(a)(2), (b)(3), (e): 500 kHz, 1 W, 8 dBm in 3 kHz. 1 W flat over 500 kHz is 7.78
// dBm.
TEST(UsDigital, BandwidthAndDensity) {
  LinkSettings link = hopping();
  link.rules = {};
  link.rules.set = "us-15.247-digital";
  link.radio.bandwidth_hz = 500e3;
  EXPECT_EQ(all_of(link), "");
  link.radio.bandwidth_hz = 250e3;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(a)(2)").limit, 500e3);
  EXPECT_NEAR(*cited(link, "47 CFR 15.247(e)").value, 30 + 10 * std::log10(3.0 / 250), 1e-9);
}

// 47 CFR 15.247(f): 0.4 s in 0.4 s times the number of channels, 8 dBm in 3 kHz.
TEST(UsHybrid, DwellPeriodFollowsTheChannels) {
  LinkSettings link = hopping();
  link.rules.set = "us-15.247-hybrid";
  link.rules.channels = 8;
  link.radio.bandwidth_hz = 125e3;
  link.budget.near.power_dbm = link.budget.far.power_dbm = 24;
  EXPECT_EQ(all_of(link), "");
  EXPECT_DOUBLE_EQ(limits_of(link).dwell_period_s->value, 3.2);
  link.budget.near.power_dbm = 27;
  EXPECT_DOUBLE_EQ(*cited(link, "47 CFR 15.247(f)").limit, 8);
}

// ETSI EN 300 220-2 and ERC/REC 70-03: 25 mW = 13.98 dBm e.r.p. and 1 % at 868.3 MHz, 0.1 % at
// 868.9 MHz, 500 mW = 26.99 dBm and 10 % at 869.525 MHz.
TEST(Europe, SubBands) {
  LinkSettings link;
  link.rules.set = "eu-863-870";
  const auto limits_at = [&](double mhz) {
    link.budget.frequency_mhz = mhz;
    return limits_of(link);
  };
  EXPECT_NEAR(limits_at(868.3).erp_dbm->value, 13.98, 0.005);
  EXPECT_DOUBLE_EQ(limits_at(868.3).duty_ratio->value, 0.01);
  EXPECT_DOUBLE_EQ(limits_at(868.9).duty_ratio->value, 0.001);
  EXPECT_DOUBLE_EQ(limits_at(864).duty_ratio->value, 0.001);
  EXPECT_DOUBLE_EQ(limits_at(866).duty_ratio->value, 0.01);
  EXPECT_NEAR(limits_at(869.525).erp_dbm->value, 26.99, 0.005);
  EXPECT_DOUBLE_EQ(limits_at(869.525).duty_ratio->value, 0.1);
  EXPECT_FALSE(limits_at(915).erp_dbm);
}

// The whole table: ERC/REC 70-03 annex 1 and, for the gaps between, annex 7. Each sub-band in its
// middle and at its lower edge; the upper edge belongs to the next one.
TEST(Europe, EverySubBand) {
  struct Row {
    double low_mhz, high_mhz, erp_mw, duty;
  };
  const Row table[] = {
      {863.0, 865.0, 25, 0.001},  {865.0, 868.0, 25, 0.01},  {868.0, 868.6, 25, 0.01},
      {868.6, 868.7, 10, 0.01},   {868.7, 869.2, 25, 0.001}, {869.2, 869.25, 10, 0.001},
      {869.25, 869.3, 10, 0.001}, {869.3, 869.4, 10, 0.01},  {869.4, 869.65, 500, 0.1},
      {869.65, 869.7, 25, 0.1},   {869.7, 870.0, 25, 0.01}};
  LinkSettings link;
  link.rules.set = "eu-863-870";
  for (const Row& row : table)
    for (const double mhz : {row.low_mhz, (row.low_mhz + row.high_mhz) / 2}) {
      link.budget.frequency_mhz = mhz;
      const RuleLimits limits = limits_of(link);
      ASSERT_TRUE(limits.erp_dbm && limits.duty_ratio) << mhz;
      EXPECT_NEAR(limits.erp_dbm->value, 10 * std::log10(row.erp_mw), 1e-9) << mhz;
      EXPECT_DOUBLE_EQ(limits.duty_ratio->value, row.duty) << mhz;
      EXPECT_DOUBLE_EQ(limits.band_low_mhz->value, row.low_mhz) << mhz;
      EXPECT_DOUBLE_EQ(limits.band_high_mhz->value, row.high_mhz) << mhz;
    }
}

TEST(Europe, RadiatedPowerCountsFromTheDipole) {
  LinkSettings link;
  link.rules.set = "eu-863-870";
  link.rules.duty_ratio = 0.01;
  link.radio.bandwidth_hz = 125e3;
  link.budget.frequency_mhz = 868.3;
  link.budget.near.power_dbm = link.budget.far.power_dbm = 13.9;
  link.budget.near.antenna_dbi = link.budget.far.antenna_dbi = 2.15;
  EXPECT_EQ(all_of(link), "");
  link.budget.near.antenna_dbi = 5.15;
  ASSERT_EQ(check_rules(link).size(), 1u);
  EXPECT_NEAR(*check_rules(link)[0].value, 16.9, 1e-9);
  link.budget.near.antenna_dbi = 2.15;
  link.rules.duty_ratio = 0.02;
  EXPECT_THAT(all_of(link), HasSubstr("duty of 2 %"));
  link.rules.duty_ratio = 0.01;
  link.budget.frequency_mhz = 868.58;  // 125 kHz reach beyond 868.6
  EXPECT_THAT(all_of(link), HasSubstr("868 to 868.6 MHz"));
}

// ERC/REC 70-03 annex 1: 869.7 to 870 MHz, 25 mW with 1 % or 5 mW (6.99 dBm) without a duty limit.
TEST(Europe, LittlePowerFreesTheDuty) {
  LinkSettings link;
  link.rules.set = "eu-863-870";
  link.budget.frequency_mhz = 869.85;
  link.budget.near.power_dbm = link.budget.far.power_dbm = 4.8;
  link.budget.near.antenna_dbi = link.budget.far.antenna_dbi = 2.15;
  EXPECT_EQ(all_of(link), "");
  link.budget.far.power_dbm = 10;
  EXPECT_THAT(all_of(link), HasSubstr("at most 1 % of any hour"));
}

// Class licence item 52: 915-928 MHz, 1 W e.i.r.p., at least 20 hopping frequencies.
TEST(Australia, RadiatedPowerAndChannels) {
  LinkSettings link = hopping();
  link.rules.set = "au-915-928";
  link.budget.frequency_mhz = 921;
  EXPECT_THAT(all_of(link), HasSubstr("(e.i.r.p.) of 36 dBm exceeds the limit of 30"));
  link.budget.near.power_dbm = link.budget.far.power_dbm = 24;
  EXPECT_EQ(all_of(link), "");
  link.rules.channels = 19;
  EXPECT_THAT(all_of(link), HasSubstr("at least 20"));
}

// 25 mW = 13.98 dBm: the usual whole decibels are no offence, a tenth more is.
TEST(Rules, WholeDecibelsOfAMilliwattLimitPass) {
  LinkSettings link;
  link.rules.set = "eu-863-870";
  link.rules.duty_ratio = 0.01;
  link.budget.frequency_mhz = 868.3;
  link.budget.near.power_dbm = link.budget.far.power_dbm = 14;
  link.budget.near.antenna_dbi = link.budget.far.antenna_dbi = 2.15;
  EXPECT_EQ(all_of(link), "");
  link.budget.near.power_dbm = 14.1;
  EXPECT_THAT(all_of(link), HasSubstr("near end: radiated power (e.r.p.) of 14.1 dBm"));
}

TEST(Rules, WithoutASetNothingIsAsked) {
  LinkSettings link = hopping();
  link.budget.near.power_dbm = 60;
  link.rules.set.clear();
  EXPECT_THAT(check_rules(link), IsEmpty());
  link.rules.set = "custom";
  EXPECT_THAT(check_rules(link), IsEmpty());
  EXPECT_EQ(rule_sets().size(), 6u);
}

}  // namespace
}  // namespace fadeward::budget::rules_test
