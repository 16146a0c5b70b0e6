#include "fadeward/link/frame_window.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

namespace fadeward::link::frame_window_test {
namespace {

using namespace std::chrono_literals;
constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return (values[(values.size() - 1) / 2] + values[values.size() / 2]) / 2;
}

TEST(FrameWindow, MediansOfTheLastHour) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> fading(0, 3);
    FrameWindow window;
    std::vector<double> signals, margins;
    Time now = kStart;
    for (int i = 0; i < 1000; ++i, now += 10s) {
      const double signal = -100 + fading(random) - (i > 500 ? 6 : 0);
      window.add(now, signal, -117, signal + 117 + 7.5, 1, 0, 0, 16);
      signals.push_back(signal);
      margins.push_back(signal + 124.5);
    }
    const std::vector<double> hour(signals.end() - 361, signals.end());
    const std::vector<double> hour_margins(margins.end() - 361, margins.end());
    window.expire(now - 10s);
    EXPECT_EQ(window.frames(), 361U);
    EXPECT_EQ(window.span(now - 10s), Duration{1h});
    EXPECT_NEAR(*window.signal_median_dbm(), median(hour), 0.15) << "seed " << seed;
    EXPECT_NEAR(*window.noise_median_dbm(), -117, 0.001);
    EXPECT_NEAR(*window.margin_quantile_db(0.5, false), median(hour_margins), 0.15) << "seed " << seed;
  }
}

TEST(FrameWindow, MedianOfLevelsInWholeDecibels) {
  // Whole decibels of a level that spreads little, and a few frames between them, as channels of
  // another offset have them: the median of the level before rounding, not a level nearby.
  for (unsigned seed = 1; seed <= 20; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> fading(0, 1);
    FrameWindow window;
    std::vector<double> levels;
    Time now = kStart;
    const double mean = -96 - 0.1 * seed;
    for (int i = 0; i < 360; ++i, now += 10s) {
      const double level = mean + fading(random);
      const bool between = i % 20 == 0;
      window.add(now, std::round(level) + (between ? 0.75 : 0), -117, 20, 1, 0, 0, 16);
      levels.push_back(level);
    }
    EXPECT_NEAR(*window.signal_median_dbm(), median(levels), 0.35) << "seed " << seed;
  }
}

TEST(FrameWindow, KeepsThirtyFramesForAWeekAtMost) {
  FrameWindow window;
  Time now = kStart;
  for (int i = 0; i < 40; ++i, now += 1h) window.add(now, -100, -117, 24, 1, 0, 0, 16);
  window.expire(now);
  EXPECT_EQ(window.frames(), 30U);
  EXPECT_EQ(window.span(now), Duration{30h});
  window.expire(now + 24h * 7);
  EXPECT_TRUE(window.empty());
  EXPECT_FALSE(window.margin_quantile_db(0.5, false));
}

TEST(FrameWindow, ThinsWithoutLosingCount) {
  std::mt19937 random(7);
  std::normal_distribution<double> fading(0, 2);
  FrameWindow window;
  Time now = kStart;
  std::vector<double> margins;
  for (int i = 0; i < 3600; ++i, now += 1s) {
    const double margin = 20 + fading(random);
    margins.push_back(margin);
    window.add(now, -100, -117, margin, 1, i % 10 == 0 ? 1 : 0, 0, 16);
  }
  window.expire(now);
  EXPECT_NEAR(window.frames(), 3600, 16);
  EXPECT_NEAR(window.lost(), 360, 3);
  EXPECT_NEAR(*window.margin_quantile_db(0.5, false), median(margins), 0.35);
}

// Lost frames are the lowest: the quantile of all is a higher quantile of the heard.
TEST(FrameWindow, LostFramesRankBelow) {
  FrameWindow window;
  Time now = kStart;
  for (int i = 0; i < 300; ++i, now += 10s) window.add(now, -100, -117, i % 100 * 0.25, 1, i % 2, 0, 16);
  // 300 heard, 150 lost: the median of 450 is the heard value with 75 of 300 below it.
  EXPECT_NEAR(*window.margin_quantile_db(0.5, true), 6.25, 0.3);
  EXPECT_NEAR(*window.margin_quantile_db(0.5, false), 12.5, 0.3);
  EXPECT_FALSE(window.margin_quantile_db(0.01, true));
}

TEST(FrameWindow, ChannelsCountAlikeByWeight) {
  FrameWindow window;
  Time now = kStart;
  // A channel heard four times as often gets a quarter of the weight.
  for (int i = 0; i < 300; ++i, now += 10s)
    window.add(now, -100, -117, i % 5 == 0 ? 10 : 20, 1, 0, i % 5 == 0 ? 1 : 0, i % 5 == 0 ? 64 : 16);
  EXPECT_NEAR(*window.margin_quantile_db(0.49, false), 15, 5.0);
  EXPECT_LT(*window.margin_quantile_db(0.24, false), 10.1);
  EXPECT_GT(*window.margin_quantile_db(0.76, false), 19.9);
}

TEST(FrameWindow, AgesSurviveAStepOfTheClock) {
  for (const Duration step : {Duration{-24h}, Duration{24h * 365}}) {
    FrameWindow window;
    Time now = kStart;
    for (int i = 0; i < 100; ++i, now += 10s) window.add(now, -100, -117, 24, 1, 0, 0, 16);
    window.shift(step);
    now += step;
    window.add(now, -100, -117, 24, 1, 0, 0, 16);
    EXPECT_EQ(window.frames(), 101U);
    for (int i = 0; i < 500; ++i, now += 10s) window.add(now, -100, -117, 24, 1, 0, 0, 16);
    window.expire(now);
    EXPECT_NEAR(window.frames(), 361, 1);
  }
}

}  // namespace
}  // namespace fadeward::link::frame_window_test
