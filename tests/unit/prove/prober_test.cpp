// Both ends of a test with a path in between whose doings are written on paper.
#include "fadeward/prove/prober.hpp"

#include <gtest/gtest.h>

#include <memory>
#include <random>

#include "fadeward/prove/echo.hpp"

namespace fadeward::prove::prober_test {
namespace {

using namespace std::chrono_literals;
using Octets = std::vector<std::uint8_t>;

constexpr std::size_t kSize = 48;

/// Changes one bit of the middle, and makes no zero of it.
Octets damaged(Octets frame) {
  std::uint8_t& octet = frame[frame.size() / 2];
  octet = static_cast<std::uint8_t>(octet ^ (octet == 0x80 ? 0x40 : 0x80));
  return frame;
}

struct Bench {
  std::unique_ptr<Prober> prober =
      std::make_unique<Prober>(ProberSettings{7, kSize, 5s, 10, 150ms});
  std::unique_ptr<Echo> far = std::make_unique<Echo>(100);
  Duration now{1s};

  Octets probe() {
    now += 100ms;
    const auto sent = prober->probe(now);
    return {sent.begin(), sent.end()};
  }
  Octets through_far(const Octets& bytes) {
    Octets answers;
    far->feed(bytes, answers);
    return answers;
  }
  void home(const Octets& bytes, Duration after = 20ms) { prober->feed(bytes, now + after); }
  void whole() { home(through_far(probe())); }
  void whole(int times) {
    for (int i = 0; i < times; ++i) whole();
  }
  void settle() {
    const auto question = prober->question();
    home(through_far({question.begin(), question.end()}));
  }
  DirectionTally outbound() const { return *prober->tally(now, true).direction(Direction::outbound); }
  DirectionTally inbound() const { return *prober->tally(now, true).direction(Direction::inbound); }
};

TEST(Prober, ACleanPath) {
  Bench bench;
  bench.whole(50);
  bench.settle();
  const Tally tally = bench.prober->tally(bench.now, true);
  EXPECT_TRUE(tally.settled);
  EXPECT_EQ(tally.trips.sent, 50U);
  EXPECT_EQ(tally.trips.answered, 50U);
  EXPECT_EQ(bench.outbound().sent, 50U);
  EXPECT_EQ(bench.outbound().lost(), 0U);
  EXPECT_EQ(bench.inbound().lost(), 0U);
  EXPECT_EQ(tally.untold, 0U);
  ASSERT_TRUE(tally.latency);
  EXPECT_DOUBLE_EQ(tally.latency->median_s, 0.020);
  EXPECT_NEAR(tally.elapsed_s, 5.0, 1e-9);
}

// Common practice: a few tens of bytes delivered about once a second prove a path.
TEST(Prober, BeginsWithWhatIsUsual) {
  const ProberSettings usual;
  EXPECT_GE(usual.octets, 20U);
  EXPECT_LE(usual.octets, 99U);
  EXPECT_DOUBLE_EQ(usual.rate_per_s, 1);
}

TEST(Prober, TellsDirectionsApart) {
  Bench bench;
  bench.whole(10);
  for (int i = 0; i < 3; ++i) bench.probe();                    // lost on the way out
  bench.whole(5);
  for (int i = 0; i < 4; ++i) bench.through_far(bench.probe()); // lost on the way home
  bench.home(damaged(bench.through_far(bench.probe())));        // damaged on the way home
  for (int i = 0; i < 2; ++i) bench.through_far(damaged(bench.probe()));
  bench.settle();                                               // nothing came after these
  EXPECT_EQ(bench.prober->sent(), 25U);
  EXPECT_EQ(bench.outbound().sent, 25U);
  EXPECT_EQ(bench.outbound().lost(), 5U);
  EXPECT_EQ(bench.outbound().corrupted, 2U);
  EXPECT_EQ(bench.inbound().sent, 20U);
  EXPECT_EQ(bench.inbound().lost(), 5U);
  EXPECT_EQ(bench.inbound().corrupted, 1U);
  EXPECT_EQ(bench.prober->tally(bench.now, true).trips.lost(), 10U);
}

TEST(Prober, DuplicatesAndOrder) {
  Bench bench;
  bench.whole(2);
  const Octets twice = bench.probe();
  bench.home(bench.through_far(twice));
  EXPECT_TRUE(bench.through_far(twice).empty());   // counted, not answered
  const Octets first = bench.probe(), second = bench.probe();
  bench.home(bench.through_far(second));
  bench.home(bench.through_far(first));
  const Octets echo_a = bench.through_far(bench.probe()), echo_b = bench.through_far(bench.probe());
  bench.home(echo_b);
  bench.home(echo_a);
  bench.home(echo_a);
  bench.settle();
  EXPECT_EQ(bench.outbound().duplicated, 1U);
  EXPECT_EQ(bench.outbound().reordered, 1U);
  EXPECT_EQ(bench.inbound().duplicated, 1U);
  EXPECT_EQ(bench.inbound().reordered, 1U);
  EXPECT_EQ(bench.outbound().lost() + bench.inbound().lost(), 0U);
  EXPECT_EQ(bench.prober->answered(), 7U);
}

TEST(Prober, DamagedBeforeTheFirstGoodOneCounts) {
  Bench bench;
  for (int i = 0; i < 3; ++i) bench.through_far(damaged(bench.probe()));
  bench.whole();
  bench.settle();
  EXPECT_EQ(bench.outbound().corrupted, 3U);
  EXPECT_EQ(bench.outbound().lost(), 3U);
}

TEST(Prober, RestartOfTheFarEndIsUntoldNotLost) {
  Bench bench;
  bench.whole(10);
  for (int i = 0; i < 4; ++i) bench.probe();   // nobody there
  bench.far = std::make_unique<Echo>(200);
  bench.whole(6);
  bench.settle();
  const Tally tally = bench.prober->tally(bench.now, true);
  EXPECT_EQ(tally.far_restarts, 1U);
  EXPECT_EQ(tally.untold, 4U);
  EXPECT_EQ(bench.outbound().sent, 16U);
  EXPECT_EQ(bench.outbound().lost(), 0U);
  EXPECT_EQ(bench.inbound().lost(), 0U);
  EXPECT_EQ(tally.trips.lost(), 4U);   // as the user of the link has it
}

TEST(Prober, AClosedPortIsNoLoss) {
  Bench bench;
  bench.whole(10);
  bench.probe();
  bench.probe();
  bench.prober->interrupted(bench.now);
  bench.whole(5);
  bench.settle();
  const Tally tally = bench.prober->tally(bench.now, true);
  EXPECT_EQ(tally.interruptions, 1U);
  EXPECT_EQ(tally.voided, 2U);
  EXPECT_EQ(tally.trips.sent, 15U);
  EXPECT_EQ(tally.trips.lost(), 0U);
  EXPECT_EQ(tally.untold, 2U);
  EXPECT_EQ(bench.outbound().sent, 15U);
  EXPECT_EQ(bench.outbound().lost(), 0U);
  EXPECT_TRUE(tally.settled);
}

TEST(Prober, ProbesLostBeforeTheSecondSessionWasHeardAreLost) {
  Bench bench;
  bench.whole(4);
  bench.prober->interrupted(bench.now);
  bench.probe();
  bench.whole(3);
  bench.settle();
  EXPECT_EQ(bench.outbound().sent, 8U);
  EXPECT_EQ(bench.outbound().lost(), 1U);
}

TEST(Prober, RestartOfTheNearEndBeginsANewCount) {
  Bench bench;
  bench.whole(10);
  bench.prober = std::make_unique<Prober>(ProberSettings{8, kSize, 5s, 10, {}});
  bench.whole(3);
  bench.settle();
  EXPECT_EQ(bench.outbound().sent, 3U);
  EXPECT_EQ(bench.outbound().lost(), 0U);
  EXPECT_EQ(bench.inbound().sent, 3U);
}

TEST(Prober, WithoutAnAnswerNothingIsClaimed) {
  Bench bench;
  for (int i = 0; i < 20; ++i) bench.probe();
  const Tally open = bench.prober->tally(bench.now, false);
  EXPECT_EQ(open.waiting, 20U);
  EXPECT_EQ(open.trips.sent, 0U);
  const Tally tally = bench.prober->tally(bench.now + 10s, true);
  EXPECT_FALSE(tally.direction(Direction::outbound));
  EXPECT_FALSE(tally.direction(Direction::inbound));
  EXPECT_FALSE(tally.settled);
  EXPECT_EQ(tally.trips.lost(), 20U);
  EXPECT_FALSE(tally.latency);
}

TEST(Prober, ALinkThatDiesLeavesItsLastProbesUntold) {
  Bench bench;
  bench.whole(10);
  for (int i = 0; i < 5; ++i) bench.probe();
  const Tally tally = bench.prober->tally(bench.now + 10s, true);
  EXPECT_FALSE(tally.settled);
  EXPECT_EQ(tally.untold, 5U);
  EXPECT_EQ(tally.trips.lost(), 5U);
}

TEST(Prober, ALoopIsNoFarEnd) {
  Bench bench;
  for (int i = 0; i < 5; ++i) bench.home(bench.probe());
  const Tally tally = bench.prober->tally(bench.now, true);
  EXPECT_EQ(tally.looped, 5U);
  EXPECT_EQ(tally.trips.answered, 0U);
  EXPECT_FALSE(bench.prober->far_end_heard());
}

TEST(Prober, TwoEchoesOnOneLineStaySilent) {
  Bench bench;
  Echo other{300};
  Octets answers, again;
  bench.far->feed(bench.probe(), answers);
  other.feed(answers, again);
  EXPECT_TRUE(again.empty());
}

TEST(Prober, LateRoundTripsAreCounted) {
  Bench bench;
  bench.whole(8);
  bench.home(bench.through_far(bench.probe()), 160ms);
  bench.home(bench.through_far(bench.probe()), 150ms);
  EXPECT_EQ(bench.prober->tally(bench.now, true).later_than_limit, 1U);
}

TEST(Prober, RecentFramesForAiming) {
  Bench bench;
  bench.whole(200);
  for (int i = 0; i < 10; ++i) bench.probe();
  const auto [sent, answered] = bench.prober->recent(bench.now, 10s, 500ms);
  EXPECT_EQ(answered, 91U);   // of the 101 within ten seconds
  EXPECT_EQ(sent, 96U);       // five are too young to be missed
  EXPECT_DOUBLE_EQ(*bench.prober->recent_latency_s(), 0.020);
}

// A frame with a good check whose contents cannot be: from a program gone wrong, or on purpose.
TEST(Prober, ImpossibleEchoesCountNothing) {
  Bench bench;
  bench.whole(3);
  for (const Frame& frame : {Frame{FrameKind::echo, 7, 9, {100, 1, 1, 1, 1, 0, 0, 0}},
                             Frame{FrameKind::echo, 7, 0, {100, 1, 1, 1, 1, 0, 0, 0}},
                             Frame{FrameKind::echo, 7, 1, {100, 9, 1, 3, 9, 0, 0, 0}},
                             Frame{FrameKind::echo, 6, 1, {100, 1, 1, 1, 1, 0, 0, 0}},
                             Frame{FrameKind::answer, 7, 4, {100, 1, 1, 1, 1, 0, 0, 0}}}) {
    Octets octets;
    append_frame(frame, kSize, octets);
    bench.home(octets);
  }
  EXPECT_EQ(bench.prober->tally(bench.now, true).foreign, 5U);
  EXPECT_EQ(bench.outbound().sent, 3U);
}

/// A path that drops, damages, repeats and cuts at random, its doings counted.
TEST(Prober, RandomPathWithKnownCounts) {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    SCOPED_TRACE(seed);
    std::mt19937 random(seed);
    Bench bench;
    std::uint64_t lost[2] = {0, 0}, broken[2] = {0, 0}, again[2] = {0, 0};
    const auto pass = [&](int way, const Octets& frame, auto deliver) {
      Octets out = frame;
      switch (random() % 12) {
        case 0: ++lost[way]; return;
        case 1:
          ++lost[way];
          ++broken[way];
          return deliver(damaged(frame));
        case 2:
          ++again[way];
          out.insert(out.end(), frame.begin(), frame.end());
          return deliver(out);
        case 3:   // cut: what is left is less than half
          ++lost[way];
          return deliver(Octets(frame.begin(), frame.begin() + 15));
        case 4:   // noise before it
          for (int i = 0; i < 6; ++i)
            out.insert(out.begin(), static_cast<std::uint8_t>(1 + random() % 255));
          return deliver(out);
        default: return deliver(frame);
      }
    };
    for (int i = 0; i < 500; ++i)
      pass(1, bench.probe(), [&](const Octets& out) {
        const Octets answers = bench.through_far(out);
        if (!answers.empty())
          pass(0, answers, [&](const Octets& home) { bench.home(home); });
      });
    bench.settle();
    EXPECT_EQ(bench.outbound().sent, 500U);
    EXPECT_EQ(bench.outbound().lost(), lost[1]);
    EXPECT_EQ(bench.outbound().corrupted, broken[1]);
    EXPECT_EQ(bench.outbound().duplicated, again[1]);
    EXPECT_EQ(bench.inbound().sent, 500 - lost[1]);
    EXPECT_EQ(bench.inbound().lost(), lost[0]);
    EXPECT_EQ(bench.inbound().corrupted, broken[0]);
    EXPECT_EQ(bench.inbound().duplicated, again[0]);
  }
}

TEST(Prober, NoiseAloneDoesNothing) {
  const unsigned seed = 4711;
  SCOPED_TRACE(seed);
  std::mt19937 random(seed);
  Bench bench;
  Octets noise(200000);
  for (std::uint8_t& octet : noise) octet = static_cast<std::uint8_t>(random());
  EXPECT_TRUE(bench.through_far(noise).empty());
  bench.home(noise);
  EXPECT_FALSE(bench.prober->far_end_heard());
  const Octets endless(3 * kLargestFrame, 0x55);
  bench.home(endless);
  bench.whole(5);
  EXPECT_EQ(bench.prober->answered(), 5U);
}

}  // namespace
}  // namespace fadeward::prove::prober_test
