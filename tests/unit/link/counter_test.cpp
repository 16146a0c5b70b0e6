#include "fadeward/link/counter.hpp"
#include "fadeward/link/counter_pair.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace fadeward::link::counter_test {
namespace {

TEST(Counter, GrowsWrapsAndRestarts) {
  CounterTracker counter;
  EXPECT_FALSE(counter.take(10, 0).known);
  EXPECT_EQ(counter.take(17, 0).grown, 7);
  const CounterStep restart = counter.take(3, 0);
  EXPECT_TRUE(restart.restarted);
  EXPECT_EQ(restart.grown, 0);
  EXPECT_EQ(counter.take(5, 0).grown, 2);
}

TEST(Counter, RecognisesWrapsOfUsualWidths) {
  for (const int bits : {8, 16, 32}) {
    for (const int configured : {0, bits}) {
      CounterTracker counter;
      counter.take(std::ldexp(1.0, bits) - 3, configured);
      const CounterStep step = counter.take(4, configured);
      EXPECT_TRUE(step.known) << bits;
      EXPECT_EQ(step.grown, 7) << bits;
    }
  }
}

TEST(Counter, ADecreaseInTheMiddleIsARestartAtAnyWidth) {
  CounterTracker counter;
  counter.take(40000, 16);
  EXPECT_TRUE(counter.take(12, 16).restarted);
}

CounterStep grown(double by) { return {by, true, false}; }

// Readings of the two counters lag each other by the frames under way; only what stays is lost.
TEST(CounterPair, FramesUnderWayAreNotLost) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937 random(seed);
    std::uniform_int_distribution<int> lag(0, 2);
    CounterPair pair;
    double sent = 0, heard_reported = 0, true_lost = 0;
    double sent_before = 0, heard_before = 0;
    std::uint64_t counted = 0, heard = 0;
    for (int i = 0; i < 3000; ++i) {
      sent += 1;
      if (random() % 10 == 0) true_lost += 1;
      heard_reported = std::max(heard_reported, sent - true_lost - lag(random));
      const PairStep step = pair.take(grown(sent - sent_before), grown(heard_reported - heard_before));
      sent_before = sent;
      heard_before = heard_reported;
      counted += step.lost;
      heard += step.heard;
    }
    EXPECT_NEAR(static_cast<double>(counted), true_lost, 12) << "seed " << seed;
    EXPECT_NEAR(static_cast<double>(heard), 3000 - true_lost, 4) << "seed " << seed;
  }
}

TEST(CounterPair, RestartForgetsWhatWasOutstanding) {
  CounterPair pair;
  for (int i = 0; i < 4; ++i) pair.take(grown(10), grown(5));
  pair.take({0, false, true}, grown(0));
  std::uint64_t lost = 0;
  for (int i = 0; i < 20; ++i) lost += pair.take(grown(1), grown(1)).lost;
  EXPECT_EQ(lost, 0U);
}

}  // namespace
}  // namespace fadeward::link::counter_test
