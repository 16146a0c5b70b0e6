#include "fadeward/estimate/rolling_counts.hpp"

#include <gtest/gtest.h>

#include <random>
#include <vector>

namespace fadeward::estimate::rolling_counts_test {
namespace {

using Window = RollingCounts::Window;
constexpr Time kStart{std::chrono::seconds{1'900'000'000}};   // not at a whole minute

std::int64_t minute_of(Time at) { return std::chrono::floor<std::chrono::minutes>(at).time_since_epoch().count(); }

TEST(RollingCounts, EqualsBruteForce) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    std::mt19937 random(seed);
    std::exponential_distribution<double> gap(1 / 40.0);
    std::uniform_int_distribution<int> jitter(0, 50);
    RollingCounts counts;
    std::vector<std::pair<Time, int>> all;
    Time now = kStart;
    for (int i = 0; i < 6000; ++i) {
      now += seconds_to_duration(i == 3000 ? 90000 : gap(random));
      const Time at = now - std::chrono::seconds{jitter(random)};
      const int misses = i % 3 == 0 ? 1 : 0;
      counts.add(at, 1, static_cast<std::uint32_t>(misses));
      all.emplace_back(at, misses);
      if (i % 50 != 0) continue;
      for (const auto& [window, minutes] : {std::pair{Window::five_minutes, 5}, std::pair{Window::hour, 60}}) {
        std::uint32_t hits = 0, missed = 0;
        for (const auto& [time, miss] : all) {
          if (minute_of(now) - minute_of(time) > minutes) continue;
          ++hits;
          missed += static_cast<std::uint32_t>(miss);
        }
        const auto sum = counts.sum(window, now);
        ASSERT_EQ(sum.hits, hits) << "seed " << seed << " i " << i;
        ASSERT_EQ(sum.misses, missed) << "seed " << seed << " i " << i;
      }
    }
  }
}

TEST(RollingCounts, IsExactAtWholeMinutes) {
  RollingCounts counts;
  const Time hour{std::chrono::hours{500'000}};
  for (Time at = hour - std::chrono::hours{2}; at < hour; at += std::chrono::seconds{10})
    counts.add(at + std::chrono::seconds{3}, 1, 0);
  EXPECT_EQ(counts.sum(Window::hour, hour).hits, 360U);
  EXPECT_EQ(counts.sum(Window::five_minutes, hour).hits, 30U);
}

TEST(RollingCounts, SpreadsLossesOverTheirLikelyTime) {
  RollingCounts counts;
  const Time from{std::chrono::minutes{1'000'000}};
  counts.add_misses_between(from, from + std::chrono::minutes{120}, 120);
  const Time now = from + std::chrono::minutes{120};
  EXPECT_NEAR(counts.sum(Window::hour, now).misses, 60, 1);
  EXPECT_NEAR(counts.sum(Window::five_minutes, now).misses, 5, 1);
  EXPECT_EQ(counts.sum(Window::day, now).misses, 120U);
}

TEST(RollingCounts, SurvivesAStepOfTheClock) {
  for (const Duration step : {Duration{std::chrono::hours{-24}}, Duration{std::chrono::hours{24 * 365}}}) {
    RollingCounts counts;
    Time now = kStart;
    for (int i = 0; i < 120; ++i, now += std::chrono::seconds{30}) counts.add(now, 1, 0);
    const auto before = counts.sum(Window::hour, now);
    counts.shift(step);
    EXPECT_NEAR(counts.sum(Window::hour, now + step).hits, before.hits, 2);
    EXPECT_NEAR(counts.sum(Window::five_minutes, now + step).hits, 10, 2);
  }
}

TEST(RollingCounts, TakesBackALoss) {
  RollingCounts counts;
  counts.add(kStart, 5, 2);
  counts.take_back_miss(kStart + std::chrono::minutes{3});
  EXPECT_EQ(counts.sum(Window::hour, kStart + std::chrono::minutes{3}).misses, 1U);
  counts.take_back_miss(kStart + std::chrono::minutes{3});
  counts.take_back_miss(kStart + std::chrono::minutes{3});
  EXPECT_EQ(counts.sum(Window::hour, kStart + std::chrono::minutes{3}).misses, 0U);
  EXPECT_EQ(counts.sum(Window::day, kStart + std::chrono::minutes{3}).misses, 0U);
}

TEST(RollingCounts, ForgetsEverythingAfterLongSilence) {
  RollingCounts counts;
  counts.add(kStart, 5, 2);
  const Time later = kStart + std::chrono::hours{24 * 30};
  for (const Window window : {Window::five_minutes, Window::hour, Window::day}) {
    EXPECT_EQ(counts.sum(window, later).hits, 0U);
    EXPECT_EQ(counts.sum(window, later).misses, 0U);
  }
}

}  // namespace
}  // namespace fadeward::estimate::rolling_counts_test
