#include "fadeward/judge/forecast.hpp"

#include <gtest/gtest.h>

namespace fadeward::judge::forecast_test {
namespace {

using Outlook = Crossing::Outlook;

TEST(CrossingInWords, ReadsLikeAnEngineerSpeaks) {
  Crossing crossing;
  crossing.threshold_db = 10;
  EXPECT_EQ(in_words(crossing), "too few days to tell");
  crossing.outlook = Outlook::none_in_sight;
  EXPECT_EQ(in_words(crossing), "no crossing of 10.0 dB in sight; season unknown");
  crossing.season_known = true;
  EXPECT_EQ(in_words(crossing), "no crossing of 10.0 dB in sight");
  crossing.outlook = Outlook::below;
  EXPECT_EQ(in_words(crossing), "below 10.0 dB already");
  crossing.outlook = Outlook::crosses;
  crossing.days = 23;
  crossing.early_days = 15;
  crossing.late_days = 40;
  EXPECT_EQ(in_words(crossing), "crosses 10.0 dB in about 23 days (15 to 40)");
  crossing.season_known = false;
  EXPECT_EQ(in_words(crossing), "crosses 10.0 dB in about 23 days (15 to 40); season unknown");
  crossing.late_days.reset();
  EXPECT_EQ(in_words(crossing), "crosses 10.0 dB in about 23 days (15 or more); season unknown");
  crossing.days = crossing.early_days = 1;
  EXPECT_EQ(in_words(crossing), "crosses 10.0 dB in about 1 day (1 or more); season unknown");
}

}  // namespace
}  // namespace fadeward::judge::forecast_test
