#include "fadeward/simulate/weather.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace fadeward::simulate {
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

TEST(Weather, ADryClimateHasNoShower) {
  EXPECT_TRUE(
      make_showers({Duration::zero(), 1, 2}, kStart, hours(100'000), Random(kSeed)).empty());
}

}  // namespace
}  // namespace fadeward::simulate
