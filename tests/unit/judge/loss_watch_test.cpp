#include "fadeward/judge/loss_watch.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "fadeward/base/archive.hpp"

namespace fadeward::judge::loss_watch_test {
namespace {

using namespace std::chrono_literals;

constexpr std::uint32_t kFrames = 18;   // of a block of three minutes
constexpr double kUsual = 0.005;

class Losses {
 public:
  explicit Losses(unsigned seed) : random_(seed) {}
  bool block(LossWatch& watch, double share, double by_level = 0, bool learn = true) {
    std::binomial_distribution<std::uint32_t> lost(kFrames, share);
    const std::uint32_t n = lost(random_);
    now += 3min;
    return watch.add(kFrames - n, n, by_level, now, learn);
  }
  Time now{std::chrono::seconds{1'893'456'000}};

 private:
  std::mt19937_64 random_;
};

double binomial(std::uint32_t n, std::uint32_t k, double p) {
  return std::exp(std::lgamma(n + 1.0) - std::lgamma(k + 1.0) - std::lgamma(n - k + 1.0) + k * std::log(p) +
                  (n - k) * std::log1p(-p));
}

/// Mean number of blocks until the sum of log-likelihood ratios of `usual + excess` against `usual`,
/// kept above zero and no block counting more than `most`, exceeds `tell`, when frames are lost with
/// `share`: the chain of the sum's values on a grid, solved by repeated substitution.
double mean_delay(double usual, double excess, double most, double tell, double share) {
  constexpr int kCells = 440;
  const double step = tell / kCells;
  std::vector<double> probability, gained;
  for (std::uint32_t k = 0; k <= kFrames; ++k) {
    probability.push_back(binomial(kFrames, k, share));
    gained.push_back(std::min(most, k * std::log((usual + excess) / usual) +
                                        (kFrames - k) * std::log((1 - usual - excess) / (1 - usual))));
  }
  std::vector<double> delay(kCells + 1, 0), next(kCells + 1);
  for (int round = 0; round < 3000; ++round) {
    for (int i = 0; i <= kCells; ++i) {
      double sum = 1;
      for (std::size_t k = 0; k < gained.size(); ++k) {
        const double to = std::max(0.0, i * step + gained[k]);
        if (to > tell) continue;
        const double cell = to / step;
        const auto low = std::min<std::size_t>(kCells - 1, static_cast<std::size_t>(cell));
        const double part = cell - static_cast<double>(low);
        sum += probability[k] * ((1 - part) * delay[low] + part * delay[low + 1]);
      }
      next[static_cast<std::size_t>(i)] = sum;
    }
    const bool settled = std::abs(next[0] - delay[0]) < 1e-6 * next[0];
    delay.swap(next);
    if (settled && round > 50) break;
  }
  return delay[0];
}

// A CUSUM of log-likelihood ratios with limit h runs for e^h values on average before it tells of
// nothing (Lorden 1971), and no longer count of a block makes that shorter: with h = 11 and two of
// them, at most one in 30,000 blocks, which is 62 days.
TEST(LossWatch, RunsLongAtTheUsualLoss) {
  constexpr int kBlocks = 480 * 365;
  for (const double usual : {0.001, 0.005, 0.03}) {
    int told = 0, years = 0;
    for (unsigned seed = 1; seed <= 4; ++seed, ++years) {
      LossWatch watch;
      Losses losses(seed);
      for (int i = 0; i < kBlocks; ++i) told += losses.block(watch, usual) && watch.told();
      EXPECT_NEAR(watch.usual().value_or(-1), usual, 0.15 * usual + 0.0005) << "seed " << seed;
    }
    const double most = 2.0 * years * kBlocks / std::exp(11.0);
    EXPECT_LE(told, most + 3 * std::sqrt(most)) << usual;
  }
}

TEST(LossWatch, DelaysAreThoseOfTheSums) {
  for (const double excess : {0.02, 0.05, 0.20}) {
    constexpr int kRuns = 200;
    double sum = 0, squares = 0, ratio = 0;
    for (unsigned seed = 1; seed <= kRuns; ++seed) {
      LossWatch watch;
      Losses losses(seed);
      for (int i = 0; i < 3400; ++i) losses.block(watch, kUsual);
      if (watch.told()) continue;
      const Time began = losses.now;
      int blocks = 0;
      while (!watch.told() && blocks < 2000) {
        losses.block(watch, kUsual + excess);
        ++blocks;
      }
      ASSERT_TRUE(watch.told()) << "seed " << seed;
      ratio += watch.ratio();
      EXPECT_LT(*watch.onset() - began, 3min * blocks);
      sum += blocks;
      squares += static_cast<double>(blocks) * blocks;
    }
    const double mean = sum / kRuns, error = std::sqrt((squares / kRuns - mean * mean) / kRuns);
    // What is told is the loss since the onset; a sum that was lucky early tells a little much.
    EXPECT_GT(ratio / kRuns, 0.95 * (kUsual + excess));
    EXPECT_LT(ratio / kRuns, 1.6 * (kUsual + excess));
    // Whichever of the two sums comes first: no later than each of them alone, and they see the same
    // losses, so not much earlier either.
    const double alone = std::min(mean_delay(kUsual, 0.02, 3, 11, kUsual + excess),
                                  mean_delay(kUsual, 0.08, 4, 11, kUsual + excess));
    EXPECT_LT(mean, alone * 1.05 + 4 * error) << excess;
    EXPECT_GT(mean, alone * 0.7 - 4 * error) << excess;
  }
}

TEST(LossWatch, OneInterruptionIsNoTraffic) {
  for (unsigned seed = 1; seed <= 50; ++seed) {
    LossWatch watch;
    Losses losses(seed);
    for (int i = 0; i < 1000; ++i) losses.block(watch, 0.002);
    if (watch.told()) continue;
    watch.add(9, 300, 0, losses.now += 3min, true);   // an hour without power, say
    EXPECT_FALSE(watch.told()) << "seed " << seed;
    for (int i = 0; i < 100; ++i) losses.block(watch, 0.002);
    EXPECT_FALSE(watch.told()) << "seed " << seed;
    EXPECT_LT(watch.usual(), 0.01) << "seed " << seed;
  }
}

TEST(LossWatch, EndsOnceAndStaysQuiet) {
  for (unsigned seed = 1; seed <= 50; ++seed) {
    LossWatch watch;
    Losses losses(seed);
    for (int i = 0; i < 2000; ++i) losses.block(watch, kUsual);
    if (watch.told()) continue;
    for (int i = 0; i < 60; ++i) losses.block(watch, 0.20);
    ASSERT_TRUE(watch.told()) << "seed " << seed;
    int changes = 0, blocks = 0;
    for (; blocks < 480; ++blocks) changes += losses.block(watch, kUsual);
    EXPECT_EQ(changes, 1) << "seed " << seed;
    EXPECT_FALSE(watch.told()) << "seed " << seed;
    EXPECT_FALSE(watch.onset());
    EXPECT_LT(watch.usual(), 2 * kUsual) << "seed " << seed << ": what was told is not the usual";
  }
}

TEST(LossWatch, WhatTheLevelExplainsIsNotCounted) {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    LossWatch watch;
    Losses losses(seed);
    for (int i = 0; i < 1000; ++i) losses.block(watch, kUsual);
    if (watch.told()) continue;
    for (int i = 0; i < 500; ++i) losses.block(watch, 0.06, 0.08);   // less than the level may cost
    EXPECT_FALSE(watch.told()) << "seed " << seed;
    for (int i = 0; i < 500; ++i) losses.block(watch, 0.5, 0.5);
    EXPECT_FALSE(watch.told()) << "seed " << seed;
  }
}

// Traffic that came to stay: after three weeks it is what this link is used to, and only more of it
// is told again.
TEST(LossWatch, WhatStaysThreeWeeksIsTheNewUsual) {
  for (const double share : {0.03, 0.06, 0.20}) {
    for (unsigned seed = 1; seed <= 4; ++seed) {
      LossWatch watch;
      Losses losses(seed);
      for (int i = 0; i < 2000; ++i) losses.block(watch, kUsual);
      ASSERT_FALSE(watch.told()) << share << ", seed " << seed;
      while (!watch.told()) losses.block(watch, share);
      const Time told = losses.now;
      int accepted = 0;
      for (int i = 0; i < 21 * 480; ++i) {
        losses.block(watch, share);
        accepted += watch.accepted();
        ASSERT_TRUE(watch.told() || accepted > 0) << share << ", seed " << seed;
      }
      while (accepted == 0 && losses.now - told < 24h * 23) {
        losses.block(watch, share);
        accepted += watch.accepted();
      }
      EXPECT_EQ(accepted, 1) << share << ", seed " << seed;
      EXPECT_GT(losses.now - told, 24h * 21);
      EXPECT_NEAR(*watch.usual(), share, 0.1 * share + 0.003) << "seed " << seed;
      for (int i = 0; i < 10 * 480; ++i) {
        losses.block(watch, share);
        ASSERT_FALSE(watch.told()) << share << ", seed " << seed << ", block " << i;
      }
      for (int i = 0; i < 480 && !watch.told(); ++i) losses.block(watch, share + 0.12);
      EXPECT_TRUE(watch.told()) << "more of it: " << share << ", seed " << seed;
    }
  }
}

TEST(LossWatch, WhatGrowsIsNotAccepted) {
  LossWatch watch;
  Losses losses(5);
  for (int i = 0; i < 2000; ++i) losses.block(watch, kUsual);
  for (int day = 0; day < 30; ++day)
    for (int i = 0; i < 480; ++i) {
      losses.block(watch, 0.04 + 0.012 * day);
      ASSERT_FALSE(watch.accepted()) << day;
    }
  EXPECT_TRUE(watch.told());
}

TEST(LossWatch, NoFramesSayNothing) {
  LossWatch watch;
  EXPECT_FALSE(watch.add(0, 0, 0, Time{}, true));
  EXPECT_TRUE(std::isfinite(watch.ratio()));
}

TEST(LossWatch, SettlingForgetsWhatWasGatheredOnly) {
  LossWatch watch;
  Losses losses(3);
  for (int i = 0; i < 500; ++i) losses.block(watch, 0.002);
  ASSERT_FALSE(watch.told());
  while (!watch.told()) losses.block(watch, 0.3);
  watch.settle();
  EXPECT_TRUE(watch.told());
}

TEST(LossWatch, MovesWithTheClockAndGoesOnFromAnArchive) {
  LossWatch watch;
  Losses losses(8);
  for (int i = 0; i < 500; ++i) losses.block(watch, 0.002);
  losses.block(watch, 0.25);
  losses.block(watch, 0.25);   // half way
  std::string bytes;
  ArchiveWriter writer(bytes);
  watch.archive(writer);
  LossWatch again;
  ArchiveReader reader(bytes);
  again.archive(reader);
  ASSERT_TRUE(reader.ok() && reader.at_end());
  LossWatch shifted = again;
  shifted.shift(5h);
  for (int i = 0; i < 300; ++i) {
    const std::uint32_t lost = i < 40 ? 4 : 0;
    losses.now += 3min;
    EXPECT_EQ(watch.add(14, lost, 0, losses.now, true), again.add(14, lost, 0, losses.now, true)) << i;
    shifted.add(14, lost, 0, losses.now + 5h, true);
    ASSERT_EQ(watch.told(), again.told());
    ASSERT_EQ(watch.told(), shifted.told());
    if (!watch.told()) continue;
    EXPECT_EQ(*watch.onset(), *again.onset());
    EXPECT_EQ(*watch.onset() + 5h, *shifted.onset());
  }
}

}  // namespace
}  // namespace fadeward::judge::loss_watch_test
