#include "fadeward/judge/outlook.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "fadeward/base/archive.hpp"

namespace fadeward::judge::outlook_test {
namespace {

constexpr std::int64_t kDay = 21'915;   // 1 January 2030
constexpr Time at_day(std::int64_t day) { return Time{std::chrono::hours{24 * day}}; }

TEST(Outlook, KnowsNothingBeforeTheFirstDay) {
  Outlook outlook;
  outlook.judge(10);
  EXPECT_FALSE(outlook.trend_db_per_day());
  EXPECT_FALSE(outlook.crossing());
  EXPECT_FALSE(outlook.baseline_margin_db());
  EXPECT_FALSE(outlook.baseline_complete({}));
  EXPECT_FALSE(outlook.last_day());
}

TEST(Outlook, CommissioningIsTheFirstFourteenDaysWithData) {
  Outlook outlook;
  const BaselineSettings settings;
  double sum = 0;
  for (int i = 0; i < 14; ++i) {
    EXPECT_FALSE(outlook.baseline_complete(settings)) << i;
    outlook.add_day(kDay + 2 * i, 20 + i, settings);   // every other day
    sum += 20 + i;
    EXPECT_NEAR(*outlook.baseline_margin_db(), sum / (i + 1), 1e-5) << "median of 20, 21, ... is their mean";
  }
  EXPECT_TRUE(outlook.baseline_complete(settings));
  for (int i = 0; i < 30; ++i) outlook.add_day(kDay + 40 + i, 3, settings);
  EXPECT_NEAR(*outlook.baseline_margin_db(), 26.5, 1e-5);
}

TEST(Outlook, ConfiguredDatesCountFromTheirFirstDayToBeforeTheLast) {
  Outlook outlook;
  BaselineSettings settings;
  settings.commissioning = false;
  settings.from = at_day(kDay + 5);
  settings.to = at_day(kDay + 8);
  for (int i = 0; i < 8; ++i) {
    outlook.add_day(kDay + i, 10 + i, settings);
    EXPECT_EQ(outlook.baseline_margin_db().has_value(), i >= 5) << i;
    EXPECT_FALSE(outlook.baseline_complete(settings)) << i;
  }
  outlook.add_day(kDay + 8, 99, settings);
  EXPECT_TRUE(outlook.baseline_complete(settings));
  EXPECT_NEAR(*outlook.baseline_margin_db(), 16, 1e-5);   // of days 5, 6 and 7
  // Other dates: another baseline.
  settings.to = at_day(kDay + 20);
  outlook.add_day(kDay + 9, 30, settings);
  EXPECT_NEAR(*outlook.baseline_margin_db(), 30, 1e-5);
}

TEST(Outlook, ADayGivenAgainOrTooLateChangesNothing) {
  Outlook outlook;
  const BaselineSettings settings;
  outlook.add_day(kDay, 20, settings);
  outlook.add_day(kDay + 1, 22, settings);
  for (const std::int64_t day : {kDay + 1, kDay, kDay - 400}) outlook.add_day(day, -50, settings);
  EXPECT_EQ(outlook.last_day(), kDay + 1);
  EXPECT_NEAR(*outlook.baseline_margin_db(), 21, 1e-5);
}

TEST(Outlook, MarginsThatAreNoneAreIgnored) {
  Outlook outlook;
  outlook.add_day(kDay, std::numeric_limits<double>::quiet_NaN(), {});
  EXPECT_FALSE(outlook.baseline_margin_db());
  outlook.add_day(kDay + 1, 20, {});
  EXPECT_NEAR(*outlook.baseline_margin_db(), 20, 1e-5);
}

TEST(Outlook, ALineKeepsItsSlopeAndCrosses) {
  Outlook outlook;
  for (int i = 0; i < 90; ++i) outlook.add_day(kDay + i, 22 - 0.1 * i + 0.2 * ((i * 7) % 5 - 2), {});
  ASSERT_TRUE(outlook.trend_db_per_day());
  EXPECT_NEAR(*outlook.trend_db_per_day(), -0.1, 0.01);
  outlook.judge(10);
  ASSERT_TRUE(outlook.crossing());
  EXPECT_EQ(outlook.crossing()->outlook, Crossing::Outlook::crosses);
  EXPECT_NEAR(outlook.crossing()->days, (22 - 8.9 - 10) / 0.1, 6);
  outlook.judge({});
  EXPECT_FALSE(outlook.crossing());
}

TEST(Outlook, AStepOfTheClockMovesTheDays) {
  // A gateway that lost its time, and one that found it: days go on either way.
  for (const std::int64_t step : {-20'000, -3, 3, 20'000}) {
    Outlook outlook, straight;
    const BaselineSettings settings;
    for (int i = 0; i < 60; ++i) {
      straight.add_day(kDay + i, 22 - 0.1 * i, settings);
      if (i == 30) outlook.shift(std::chrono::hours{24 * step + 5});
      outlook.add_day(kDay + i + (i >= 30 ? step : 0), 22 - 0.1 * i, settings);
    }
    EXPECT_EQ(outlook.last_day(), kDay + 59 + step);
    EXPECT_EQ(outlook.trend_db_per_day(), straight.trend_db_per_day()) << step;
    outlook.judge(10);
    straight.judge(10);
    EXPECT_EQ(outlook.crossing()->days, straight.crossing()->days) << step;
    EXPECT_EQ(outlook.baseline_margin_db(), straight.baseline_margin_db()) << step;
  }
}

TEST(Outlook, ArchiveGoesOnAlike) {
  Outlook outlook;
  BaselineSettings settings;
  settings.commissioning = false;
  settings.from = at_day(kDay + 3);
  settings.to = at_day(kDay + 40);
  for (int i = 0; i < 30; ++i) outlook.add_day(kDay + i, 20 + i % 3, settings);
  outlook.shift(std::chrono::hours{-24});
  std::string bytes;
  ArchiveWriter writer(bytes);
  outlook.archive(writer);
  Outlook again;
  ArchiveReader reader(bytes);
  again.archive(reader);
  ASSERT_TRUE(reader.ok() && reader.at_end());
  EXPECT_EQ(outlook.trend_db_per_day(), again.trend_db_per_day());
  for (int i = 28; i < 70; ++i)
    for (Outlook* each : {&outlook, &again}) each->add_day(kDay + i, 20 - 0.2 * i, settings);
  EXPECT_EQ(outlook.last_day(), again.last_day());
  EXPECT_EQ(outlook.trend_db_per_day(), again.trend_db_per_day());
  EXPECT_EQ(outlook.baseline_margin_db(), again.baseline_margin_db());
  outlook.judge(10);
  again.judge(10);
  ASSERT_TRUE(outlook.crossing() && again.crossing());
  EXPECT_EQ(outlook.crossing()->days, again.crossing()->days);
}

}  // namespace
}  // namespace fadeward::judge::outlook_test
