#include "fadeward/simulate/weather.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace fadeward::simulate::weather_test {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

constexpr std::uint64_t kSeed = 99;
const Time kStart{std::chrono::seconds(1932768000)};

// A shower starts on average 4 days after the last one has ended: a renewal process with a mean
// cycle of 4 d + 5.5 h.
TEST(Weather, ShowersComeAsOftenAsTheClimateSays) {
  SCOPED_TRACE(kSeed);
  const Duration length = hours(24 * 365 * 40);
  const auto showers = make_showers({}, kStart, length, Random(kSeed));
  const double cycle_h = 96 + 5.5;
  const double expected = 24.0 * 365 * 40 / cycle_h;
  // Standard error of a renewal count: sqrt(expected) * sd / mean of the cycle.
  const double sd_h = std::sqrt(96.0 * 96.0 + 7.0 * 7.0 / 12.0);
  EXPECT_NEAR(static_cast<double>(showers.size()), expected,
              5 * std::sqrt(expected) * sd_h / cycle_h);
  Time before = kStart;
  for (const Shower& shower : showers) {
    EXPECT_GE(shower.from, before);
    EXPECT_GE(shower.to - shower.from, hours(2));
    EXPECT_LE(shower.to - shower.from, hours(9));
    EXPECT_GE(shower.peak_db, 0.8);
    EXPECT_LE(shower.peak_db, 2.8);
    before = shower.to;
  }
}

TEST(Weather, AShowerRisesAndFallsWithinHalfAnHour) {
  Weather weather({{kStart + hours(1), kStart + hours(4), 2.0}});
  EXPECT_EQ(weather.loss_db(kStart), 0.0);
  EXPECT_EQ(weather.loss_db(kStart + hours(1)), 0.0);
  EXPECT_DOUBLE_EQ(weather.loss_db(kStart + minutes(75)), 1.0);
  EXPECT_DOUBLE_EQ(weather.loss_db(kStart + minutes(90)), 2.0);
  EXPECT_DOUBLE_EQ(weather.loss_db(kStart + hours(3)), 2.0);
  EXPECT_DOUBLE_EQ(weather.loss_db(kStart + minutes(225)), 1.0);
  EXPECT_EQ(weather.loss_db(kStart + hours(4)), 0.0);
  EXPECT_EQ(weather.loss_db(kStart + hours(400)), 0.0);
}

// A third of the showers of winter, and none of summer, are snow of half a day to two days.
TEST(Weather, SnowFallsInWinter) {
  SCOPED_TRACE(kSeed);
  Climate climate;
  climate.snow_share = 1.0 / 3;
  int winter = 0, snow = 0;
  for (const Shower& shower :
       make_showers(climate, kStart, hours(24 * 365 * 40), Random(kSeed))) {
    const std::chrono::year_month_day date = std::chrono::floor<std::chrono::days>(shower.from);
    const unsigned month = static_cast<unsigned>(date.month());
    const bool cold = month == 12 || month <= 2;
    const bool long_one = shower.to - shower.from > hours(9);
    EXPECT_LE(shower.to - shower.from, hours(cold ? 48 : 9));
    winter += cold ? 1 : 0;
    snow += long_one ? 1 : 0;
  }
  EXPECT_NEAR(snow, winter / 3.0, 5 * std::sqrt(winter * 2.0 / 9)) << "binomial";
}

TEST(Weather, ADryClimateHasNoShower) {
  EXPECT_TRUE(
      make_showers({Duration::zero(), 1, 2}, kStart, hours(100'000), Random(kSeed)).empty());
}

}  // namespace
}  // namespace fadeward::simulate::weather_test
