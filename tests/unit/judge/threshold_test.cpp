#include "fadeward/judge/threshold.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace fadeward::judge::threshold_test {
namespace {

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};
const ThresholdSettings kMargin{10.0, 5.0, 2.0, 15min};

Time minute(int n) { return kStart + std::chrono::minutes{n}; }

TEST(Threshold, HoldsBothWays) {
  Threshold threshold;
  int n = 0;
  for (; n < 15; ++n) EXPECT_EQ(threshold.update(8.0, kMargin, Worse::below, minute(n)), Severity::none);
  EXPECT_EQ(threshold.update(8.0, kMargin, Worse::below, minute(n)), Severity::warning);
  EXPECT_EQ(*threshold.onset(), minute(0));
  // 11 dB is back above the level, but not by 2 dB.
  for (; n < 60; ++n) EXPECT_EQ(threshold.update(11.0, kMargin, Worse::below, minute(n)), Severity::warning);
  for (const int until = n + 15; n < until; ++n)
    EXPECT_EQ(threshold.update(12.5, kMargin, Worse::below, minute(n)), Severity::warning);
  EXPECT_EQ(threshold.update(12.5, kMargin, Worse::below, minute(n)), Severity::none);
}

TEST(Threshold, CriticalHasItsOwnSwitch) {
  Threshold threshold;
  int n = 0;
  for (; n <= 15; ++n) threshold.update(n < 5 ? 8.0 : 3.0, kMargin, Worse::below, minute(n));
  EXPECT_EQ(threshold.severity(), Severity::warning);   // critical only since minute 5
  for (; n <= 20; ++n) threshold.update(3.0, kMargin, Worse::below, minute(n));
  EXPECT_EQ(threshold.severity(), Severity::critical);
  for (; n <= 60; ++n) threshold.update(8.0, kMargin, Worse::below, minute(n));
  EXPECT_EQ(threshold.severity(), Severity::warning);
}

// Back from critical to far above warning in one go: one change, not two.
TEST(Threshold, RecoveryDoesNotStopAtWarning) {
  Threshold threshold;
  int n = 0;
  for (; n <= 30; ++n) threshold.update(3.0, kMargin, Worse::below, minute(n));
  ASSERT_EQ(threshold.severity(), Severity::critical);
  int changes = 0;
  Severity last = threshold.severity();
  for (; n <= 90; ++n) {
    const double value = 3.0 + (n - 30) * 0.6;   // over 7 dB at minute 37, over 12 dB at minute 46
    const Severity now = threshold.update(std::min(value, 20.0), kMargin, Worse::below, minute(n));
    changes += now != last;
    last = now;
  }
  EXPECT_EQ(last, Severity::none);
  EXPECT_EQ(changes, 1);
}

TEST(Threshold, AValueThatTremblesDoesNotFlap) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> value(10.0, 0.8);
    Threshold threshold;
    int changes = 0;
    Severity last = Severity::none;
    for (int n = 0; n < 1440; ++n) {
      const Severity now = threshold.update(value(random), kMargin, Worse::below, minute(n));
      changes += now != last;
      last = now;
    }
    EXPECT_LE(changes, 2) << "seed " << seed;
  }
}

TEST(Threshold, NoDataChangesNothing) {
  Threshold threshold;
  for (int n = 0; n <= 15; ++n) threshold.update(4.0, kMargin, Worse::below, minute(n));
  for (int n = 16; n < 3000; ++n)
    ASSERT_EQ(threshold.update({}, kMargin, Worse::below, minute(n)), Severity::critical);
}

TEST(Threshold, CeilingsAndMissingLevels) {
  const ThresholdSettings latency{{}, 2.0, 0.5, 0min};
  Threshold threshold;
  EXPECT_EQ(threshold.update(1.9, latency, Worse::above, minute(0)), Severity::none);
  EXPECT_EQ(threshold.update(2.1, latency, Worse::above, minute(1)), Severity::critical);
  EXPECT_EQ(threshold.update(1.6, latency, Worse::above, minute(2)), Severity::critical);
  EXPECT_EQ(threshold.update(1.4, latency, Worse::above, minute(3)), Severity::none);
}

TEST(Threshold, AClockStepDoesNotShortenTheHold) {
  Threshold threshold;
  for (int n = 0; n < 5; ++n) threshold.update(8.0, kMargin, Worse::below, minute(n));
  const Duration year = 24h * 365;
  threshold.shift(year);
  EXPECT_EQ(threshold.update(8.0, kMargin, Worse::below, minute(5) + year), Severity::none);
  EXPECT_EQ(threshold.update(8.0, kMargin, Worse::below, minute(15) + year), Severity::warning);
}

}  // namespace
}  // namespace fadeward::judge::threshold_test
