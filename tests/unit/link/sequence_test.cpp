#include "fadeward/link/sequence.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "fadeward/base/archive.hpp"

namespace fadeward::link::sequence_test {
namespace {

using Kind = SequenceStep::Kind;
using namespace std::chrono_literals;

struct Fed {
  double seq;
  Duration since;
  Kind kind;
  std::uint32_t lost;
};

void expect_steps(SequenceTracker tracker, std::initializer_list<Fed> steps,
                  std::optional<Duration> expect = 10s) {
  int n = 0;
  for (const Fed& fed : steps) {
    const SequenceStep step = tracker.take(fed.seq, fed.since, expect, false);
    EXPECT_EQ(step.kind, fed.kind) << "step " << n << " seq " << fed.seq;
    EXPECT_EQ(step.lost, fed.lost) << "step " << n << " seq " << fed.seq;
    ++n;
  }
}

TEST(Sequence, GapsAreLost) {
  expect_steps(SequenceTracker{}, {{5, 0s, Kind::first, 0}, {6, 10s, Kind::next, 0}, {9, 30s, Kind::next, 2}, {9, 0s, Kind::repeat, 0}, {10, 10s, Kind::next, 0}});
}

TEST(Sequence, LateFramesFillGaps) {
  expect_steps(SequenceTracker{}, {{100, 0s, Kind::first, 0}, {103, 30s, Kind::next, 2}, {101, 0s, Kind::late, 0}, {101, 0s, Kind::repeat, 0}, {102, 0s, Kind::late, 0}, {104, 10s, Kind::next, 0}});
}

TEST(Sequence, WrapsAtConfiguredAndLearnedWidths) {
  for (const int bits : {8, 16, 32}) {
    const double top = std::ldexp(1.0, bits);
    for (const bool configured : {true, false}) {
      SCOPED_TRACE(bits);
      expect_steps(configured ? SequenceTracker{bits} : SequenceTracker{},
                   {{top - 2, 0s, Kind::first, 0}, {top - 1, 10s, Kind::next, 0}, {1, 20s, Kind::next, 1}, {0, 0s, Kind::late, 0}, {2, 10s, Kind::next, 0}});
    }
  }
}

// An 8-bit number during an hour of silence: 360 transmissions are one turn and 104.
TEST(Sequence, ExpectedIntervalSettlesTheTurns) {
  expect_steps(SequenceTracker{8}, {{10, 0s, Kind::first, 0}, {11, 10s, Kind::next, 0}, {116, 3610s, Kind::next, 104}});
  SequenceTracker tracker{8};
  tracker.take(200, {}, 10s, false);
  const SequenceStep step = tracker.take((200 + 361) % 256, 3610s, 10s, false);
  EXPECT_EQ(step.kind, Kind::next);
  EXPECT_EQ(step.lost, 360U);
}

TEST(Sequence, RestartIsNotLoss) {
  expect_steps(SequenceTracker{16}, {{5000, 0s, Kind::first, 0}, {5001, 10s, Kind::next, 0}, {0, 60s, Kind::restart, 0}, {1, 10s, Kind::next, 0}});
  expect_steps(SequenceTracker{}, {{5000, 0s, Kind::first, 0}, {0, 60s, Kind::restart, 0}, {2, 20s, Kind::next, 1}});
}

// A restart close to the last number looks like repeats at first.
TEST(Sequence, RestartSoonAfterARestartIsRecognised) {
  SequenceTracker tracker{16};
  for (int i = 0; i <= 20; ++i) tracker.take(i, 10s, 10s, false);
  EXPECT_EQ(tracker.take(0, 10s, 10s, false).kind, Kind::repeat);
  EXPECT_EQ(tracker.take(1, 10s, 10s, false).kind, Kind::repeat);
  EXPECT_EQ(tracker.take(2, 10s, 10s, false).kind, Kind::restart);
  EXPECT_EQ(tracker.take(3, 10s, 10s, false).kind, Kind::next);
}

// A restart near a power of two looks like a wrap. What was concluded from one is given up when the next
// fall does not fit it, also by a program that was restarted in between.
TEST(Sequence, AConclusionFromOneWrapIsGivenUp) {
  for (const bool restarted : {false, true}) {
    SequenceTracker tracker;
    for (int seq = 240; seq <= 250; ++seq) tracker.take(seq, 10s, 10s, false);
    EXPECT_EQ(tracker.take(2, 10s, 10s, false).kind, Kind::next);
    EXPECT_EQ(tracker.wrap_bits(), 8);
    for (int seq = 3; seq <= 150; ++seq) EXPECT_EQ(tracker.take(seq, 10s, 10s, false).lost, 0U);
    if (restarted) {
      std::string bytes;
      ArchiveWriter writer(bytes);
      tracker.archive(writer);
      tracker = SequenceTracker{};
      ArchiveReader reader(bytes);
      tracker.archive(reader);
      ASSERT_TRUE(reader.ok() && reader.at_end());
    }
    EXPECT_EQ(tracker.take(0, 10s, 10s, false).kind, Kind::restart) << restarted;
    EXPECT_EQ(tracker.wrap_bits(), 0) << restarted;
  }
}

// A width that wraps again and again is right; numbers beyond it end it as well.
TEST(Sequence, ALearnedWidthStandsWhileItFits) {
  SequenceTracker tracker;
  for (int n = 200; n < 2000; ++n) EXPECT_EQ(tracker.take(n % 256, 10s, 10s, false).lost, 0U) << n;
  EXPECT_EQ(tracker.wrap_bits(), 8);
  SequenceTracker wider;
  for (int n = 250; n <= 255; ++n) wider.take(n, 10s, 10s, false);
  wider.take(0, 10s, 10s, false);
  for (int n = 1; n <= 700; ++n) EXPECT_EQ(wider.take(n, 10s, 10s, false).lost, 0U) << n;
  EXPECT_EQ(wider.take(0, 10s, 10s, false).kind, Kind::restart);
}

TEST(Sequence, UnknownGapIsNeverLost) {
  SequenceTracker tracker{16};
  tracker.take(5, {}, 10s, false);
  const SequenceStep step = tracker.take(900, 3600s, 10s, true);
  EXPECT_EQ(step.kind, Kind::first);
  EXPECT_EQ(step.lost, 0U);
}

TEST(Sequence, WildJumpIsNotBelieved) {
  expect_steps(SequenceTracker{32}, {{5, 0s, Kind::first, 0}, {4'000'000'000.0, 10s, Kind::restart, 0}});
}

// Random traffic with loss, duplicates and disorder through every width: after all reports are in,
// the lost are exactly those that never came.
TEST(Sequence, CountsExactlyUnderDisorder) {
  for (unsigned seed = 1; seed <= 30; ++seed) {
    std::mt19937 random(seed);
    const int bits = seed % 3 == 0 ? 8 : seed % 3 == 1 ? 16 : 32;
    const double width = std::ldexp(1.0, bits);
    std::uniform_real_distribution<double> uniform(0, 1);
    std::vector<int> order;
    for (int i = 0; i < 2000; ++i) {
      if (i > 0 && uniform(random) < 0.25) continue;
      order.push_back(i);
    }
    for (std::size_t i = 2; i + 2 < order.size(); i += 5)
      if (uniform(random) < 0.3) std::swap(order[i], order[i + 1]);
    SequenceTracker tracker{bits};
    std::int64_t lost = 0, received = 0;
    const double base = 4 * width - 700;   // wraps on the way
    for (const int i : order) {
      const SequenceStep step = tracker.take(std::fmod(base + i, width), 10s, 10s, false);
      ASSERT_NE(step.kind, Kind::restart) << "seed " << seed << " i " << i;
      if (step.kind == Kind::late) {
        --lost;
        ++received;
      } else if (step.kind != Kind::repeat) {
        lost += step.lost;
        ++received;
      }
      if (uniform(random) < 0.1) {
        ASSERT_EQ(tracker.take(std::fmod(base + i, width), 0s, 10s, false).kind, Kind::repeat) << "seed " << seed;
      }
    }
    const int last = *std::max_element(order.begin(), order.end());
    EXPECT_EQ(received, static_cast<std::int64_t>(order.size())) << "seed " << seed;
    EXPECT_EQ(lost, last + 1 - static_cast<std::int64_t>(order.size())) << "seed " << seed;
  }
}

}  // namespace
}  // namespace fadeward::link::sequence_test
