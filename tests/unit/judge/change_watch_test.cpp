// Known truth: blocks of an invented link, made here, with changes of known cause, onset and size.
#include "fadeward/judge/change_watch.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <iostream>
#include <numbers>
#include <random>

#include "fadeward/base/archive.hpp"

namespace fadeward::judge::change_watch_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};
constexpr Duration kBlock = 3min;

struct Air {
  double in = 0, out = 0, near_noise = 0, far_noise = 0;   ///< added, dB
};
using Fault = std::function<Air(Time)>;

Fault none() {
  return [](Time) { return Air{}; };
}
Fault step(const Air& per_db, double size_db, Time from, Time until = Time::max()) {
  return [=](Time at) {
    const double k = at > from && at <= until ? size_db : 0;
    return Air{per_db.in * k, per_db.out * k, per_db.near_noise * k, per_db.far_noise * k};
  };
}

constexpr Air kPath{-1, -1, 0, 0}, kFarTransmit{-1, 0, 0, 0}, kNearTransmit{0, -1, 0, 0}, kNearReceive{-1, 0, -1, 0},
    kFarReceive{0, -1, 0, -1}, kNearNoise{0, 0, 1, 0}, kFarNoise{0, 0, 0, 1}, kNearAntenna{-1, -1, -0.7, 0},
    kFarAntenna{-1, -1, 0, -0.7};

/// Both directions share a slow wandering and a daily swing; each fades for itself.
class World {
 public:
  explicit World(unsigned seed, Duration span = kBlock) : span_(span), random_(seed) {}

  link::Block next() {
    link::Block block;
    block.from = now + clock;
    now += span_;
    block.to = now + clock;
    const double kept = std::exp(-duration_to_seconds(span_) / (3 * 3600.0));
    shadow_ = kept * shadow_ + 0.4 * std::sqrt(1 - kept * kept) * normal_(random_);
    const double hour = static_cast<double>(now.time_since_epoch().count() % 86'400'000'000) / 3.6e9;
    const double common = shadow_ + 1.0 * std::cos(2 * std::numbers::pi * (hour - 4) / 24);
    const Air air = fault(now - span_ / 2);
    const auto side = [&](double signal, double noise) {
      link::BlockSide s;
      s.frames = s.heard = 18;
      s.loss_known = s.noise_known = true;
      s.signal_db = static_cast<float>(signal + common + 0.45 * normal_(random_));
      s.noise_dbm = static_cast<float>(noise + 0.25 * normal_(random_));
      return s;
    };
    block.sides[0] = side(in_db + air.in, -117 + air.near_noise);
    block.sides[1] = side(out_db + air.out, -115 + air.far_noise);
    if (alter) alter(block);
    return block;
  }

  Time now = kStart;       ///< of the sun; the gateway's clock may be off by `clock`
  Duration clock{};
  double in_db = -100, out_db = -102;
  Fault fault = none();
  std::function<void(link::Block&)> alter;

 private:
  Duration span_;
  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;
  double shadow_ = 0;
};

struct Seen {
  std::optional<Suspect> first;        ///< as it was when it was told
  std::optional<Suspect> last;         ///< as it was last seen told
  std::optional<Time> told, ended;
  int tellings = 0;
  bool accepted = false;
};

class Bench {
 public:
  explicit Bench(unsigned seed, Duration span = kBlock) : world(seed, span) {}
  void run(Duration time, bool judged = true) {
    for (const Time end = world.now + time; world.now < end;) {
      watch.add(world.next(), judged);
      look();
    }
  }
  void look() {
    most = std::max(most, watch.suspects().size());
    std::size_t count = 0;
    for (const Suspect& s : watch.suspects()) {
      if (s.told()) {
        ++count;
        seen.last = s;
        if (s.told_at > seen.told.value_or(Time::min())) {
          ++seen.tellings;
          seen.told = s.told_at;
          if (!seen.first) seen.first = s;
          log += "\n  " + story(s);
        }
      }
      if ((s.state == Suspect::State::over && s.told_at != Time{}) || s.state == Suspect::State::accepted) {
        seen.ended = world.now;
        seen.accepted = s.state == Suspect::State::accepted;
        log += std::string("\n  ") + (seen.accepted ? "accepted" : "over") + " at " + format_rfc3339(world.now);
      }
    }
    now_told = count;
  }
  static std::string story(const Suspect& s) {
    return std::string(name_of(s.what.cause)) + " " + std::string(name_of(s.shape)) + " " + std::to_string(s.what.size_db) +
           " dB, onset " + format_rfc3339(s.onset) + ", told " + format_rfc3339(s.told_at);
  }
  std::string story() const { return log.empty() ? "nothing told" : log; }

  World world;
  ChangeWatch watch;
  Seen seen;
  std::size_t now_told = 0, most = 0;
  std::string log;
};

struct Case {
  Cause cause;
  Air per_db;
  double size_db;
  Duration within;
};
const Case kCases[] = {
    {Cause::path, kPath, 8, 1h},
    {Cause::near_antenna, kNearAntenna, 8, 2h},
    {Cause::far_antenna, kFarAntenna, 8, 2h},
    {Cause::far_transmit, kFarTransmit, 4, 1h},
    {Cause::near_transmit, kNearTransmit, 4, 1h},
    {Cause::near_receive, kNearReceive, 4, 1h},
    {Cause::far_receive, kFarReceive, 4, 1h},
    {Cause::near_noise, kNearNoise, 3, 1h},
    {Cause::far_noise, kFarNoise, 3, 1h},
};

TEST(ChangeWatch, AStepOfEachCauseIsToldWithCauseOnsetAndSize) {
  for (const Case& one : kCases)
    for (unsigned seed = 1; seed <= 4; ++seed) {
      Bench bench(seed);
      const Time onset = kStart + 5 * 24h + 7h + 61s * seed;
      bench.world.fault = step(one.per_db, one.size_db, onset);
      bench.run(5 * 24h + 7h);
      ASSERT_FALSE(bench.seen.told) << "seed " << seed << ": " << bench.story();
      bench.run(4h);
      SCOPED_TRACE(std::string(name_of(one.cause)) + ", seed " + std::to_string(seed) + ": " + bench.story());
      ASSERT_TRUE(bench.seen.first);
      EXPECT_EQ(bench.seen.first->what.cause, one.cause);
      EXPECT_EQ(bench.seen.first->shape, Shape::step);
      EXPECT_LE(bench.seen.first->told_at - onset, one.within);
      EXPECT_LE(std::chrono::abs(bench.seen.first->onset - onset), 2 * kBlock);
      EXPECT_NEAR(bench.seen.last->what.size_db, one.size_db, 0.2 * one.size_db);
      EXPECT_EQ(bench.seen.last->what.cause, one.cause);
      EXPECT_EQ(bench.seen.tellings, 1) << bench.story();
      EXPECT_GT(bench.seen.first->confidence, 0.7);
      // What it is off from the usual is the change itself.
      const Changes off = bench.watch.off_usual();
      EXPECT_NEAR(off.db(Stream::difference), (one.per_db.in - one.per_db.out) * one.size_db, 0.7);
      EXPECT_NEAR(off.db(Stream::near_noise), one.per_db.near_noise * one.size_db, 0.5);
    }
}

TEST(ChangeWatch, AQuietLinkSaysNothing) {
  int told = 0;
  for (unsigned seed = 11; seed <= 16; ++seed) {
    Bench bench(seed);
    bench.run(40 * 24h);
    told += bench.seen.tellings;
    if (bench.seen.tellings > 0) std::cout << "seed " << seed << ": " << bench.story() << "\n";
    EXPECT_TRUE(bench.watch.knows_usual());
  }
  EXPECT_LE(told, 1) << "in 240 days, seeds 11..16";   // one in a year is what is allowed
}

TEST(ChangeWatch, RainIsNotTold) {
  int told = 0;
  for (unsigned seed = 1; seed <= 10; ++seed) {
    Bench bench(seed);
    const Time rain = kStart + 4 * 24h + std::chrono::hours{seed};
    bench.world.fault = [=](Time at) {
      const double minutes = duration_to_seconds(at - rain) / 60;
      const double depth = 7 * std::clamp(std::min(minutes, 240 - minutes) / 30, 0.0, 1.0);   // half an hour down, half an hour up
      return Air{-depth, -depth, 0, 0};
    };
    bench.run(7 * 24h);
    told += bench.seen.tellings;
  }
  EXPECT_EQ(told, 0) << "seeds 1..10";
}

TEST(ChangeWatch, ADriftOfThePathIsFoundEarly) {
  for (unsigned seed = 1; seed <= 4; ++seed) {
    Bench bench(seed);
    const Time from = kStart + 10 * 24h;
    bench.world.fault = [=](Time at) {
      const double lost = 6 * std::clamp(duration_to_seconds(at - from) / (10 * 86400), 0.0, 1.0);
      return Air{-lost, -lost, 0, 0};
    };
    bench.run(22 * 24h);
    ASSERT_TRUE(bench.seen.first) << "seed " << seed;
    EXPECT_EQ(bench.seen.first->what.cause, Cause::path) << "seed " << seed << ": " << bench.story();
    EXPECT_EQ(bench.seen.first->shape, Shape::drift) << "seed " << seed << ": " << bench.story();
    const double reached = 0.6 * duration_to_seconds(bench.seen.first->told_at - from) / 86400;
    EXPECT_GT(reached, 0.3) << "seed " << seed << ": " << bench.story();
    EXPECT_LT(reached, 3) << "seed " << seed << ": " << bench.story();
    EXPECT_NEAR(bench.seen.last->what.size_db, 6, 1.5) << "seed " << seed;
  }
}

TEST(ChangeWatch, WhatIsOverIsTakenBackOnce) {
  for (const Case& one : kCases)
    for (unsigned seed = 1; seed <= 2; ++seed) {
      Bench bench(seed);
      const Time onset = kStart + 4 * 24h + 5h, until = onset + 10h;
      bench.world.fault = step(one.per_db, one.size_db, onset, until);
      bench.run(4 * 24h + 15h);
      SCOPED_TRACE(std::string(name_of(one.cause)) + ", seed " + std::to_string(seed) + ": " + bench.story());
      ASSERT_EQ(bench.now_told, 1U);
      bench.run(4h);
      ASSERT_TRUE(bench.seen.ended);
      EXPECT_FALSE(bench.seen.accepted);
      EXPECT_LE(*bench.seen.ended - until, 2h);
      EXPECT_EQ(bench.now_told, 0U);
      bench.run(3 * 24h);
      EXPECT_EQ(bench.seen.tellings, 1) << bench.story();
    }
}

TEST(ChangeWatch, WhatStaysIsTheNewUsualAfterThreeWeeks) {
  Bench bench(3);
  const Time onset = kStart + 4 * 24h;
  bench.world.fault = step(kFarTransmit, 4, onset);
  bench.run(4 * 24h + 20 * 24h);
  ASSERT_EQ(bench.now_told, 1U) << bench.story();
  bench.run(3 * 24h);
  ASSERT_TRUE(bench.seen.ended);
  EXPECT_TRUE(bench.seen.accepted) << bench.story();
  EXPECT_NEAR(duration_to_seconds(*bench.seen.ended - *bench.seen.told) / 86400, 21, 0.1);
  EXPECT_NEAR(bench.watch.off_usual().db(Stream::difference), 0, 0.5);
  bench.run(10 * 24h);
  EXPECT_EQ(bench.seen.tellings, 1) << bench.story();
}

// A winter without the gateway makes no fault the usual.
TEST(ChangeWatch, WhatIsNotSeenDoesNotBecomeUsual) {
  Bench bench(3);
  bench.world.fault = step(kFarTransmit, 4, kStart + 4 * 24h);
  bench.run(4 * 24h + 10 * 24h);
  ASSERT_EQ(bench.now_told, 1U) << bench.story();
  bench.world.now += 60 * 24h;
  bench.watch.postpone_acceptance(60 * 24h);
  bench.run(5 * 24h);
  EXPECT_FALSE(bench.seen.accepted) << bench.story();
  EXPECT_EQ(bench.now_told, 1U) << bench.story();
  bench.run(8 * 24h);
  EXPECT_TRUE(bench.seen.accepted) << bench.story();
}

TEST(ChangeWatch, RebaselineTakesThePresentForUsual) {
  Bench bench(5);
  bench.world.fault = step(kFarTransmit, 4, kStart + 4 * 24h);
  bench.run(5 * 24h);
  ASSERT_EQ(bench.now_told, 1U);
  bench.watch.rebaseline();
  bench.run(10 * 24h);
  EXPECT_EQ(bench.now_told, 0U);
  EXPECT_EQ(bench.seen.tellings, 1) << bench.story();
  EXPECT_NEAR(bench.watch.off_usual().db(Stream::difference), 0, 0.5);
}

std::string saved(ChangeWatch& watch) {
  std::string bytes;
  ArchiveWriter writer(bytes);
  watch.archive(writer);
  return bytes;
}

TEST(ChangeWatch, AnArchiveInTheMiddleOfAChangeGoesOnAlike) {
  for (const Case& one : kCases) {
    Bench bench(7);
    bench.world.fault = step(one.per_db, one.size_db, kStart + 3 * 24h);
    bench.run(3 * 24h);
    for (int i = 0; i < 40 && !bench.watch.unsettled(); ++i) bench.run(kBlock);
    ASSERT_TRUE(bench.watch.unsettled()) << name_of(one.cause);
    ChangeWatch again;
    const std::string bytes = saved(bench.watch);
    ArchiveReader reader(bytes);
    again.archive(reader);
    ASSERT_TRUE(reader.ok() && reader.at_end());
    bool told = false;
    for (int i = 0; i < 480; ++i) {
      const link::Block block = bench.world.next();
      bench.watch.add(block, true);
      again.add(block, true);
      ASSERT_EQ(bench.watch.suspects().size(), again.suspects().size()) << name_of(one.cause) << " " << i;
      for (std::size_t s = 0; s < again.suspects().size(); ++s) {
        ASSERT_EQ(bench.watch.suspects()[s].state, again.suspects()[s].state);
        told = told || again.suspects()[s].told();
      }
    }
    EXPECT_TRUE(told) << name_of(one.cause);
    EXPECT_EQ(saved(bench.watch), saved(again)) << name_of(one.cause);
  }
}

TEST(ChangeWatch, AStepOfTheClockIsNoChange) {
  for (const Duration by : {Duration{-7h}, Duration{24h * 400 + 5h}}) {
    Bench bench(9);
    bench.run(12 * 24h);
    // In the middle of a change, which goes on by the new clock.
    const Time onset = bench.world.now;
    bench.world.fault = step(kFarTransmit, 4, onset);
    bench.run(6min);
    bench.watch.shift(by);
    bench.world.clock = by;
    bench.run(2h);
    ASSERT_TRUE(bench.seen.first);
    EXPECT_EQ(bench.seen.first->what.cause, Cause::far_transmit) << bench.story();
    EXPECT_LE(std::chrono::abs(bench.seen.first->onset - (onset + by)), 2 * kBlock) << bench.story();
    bench.run(3 * 24h);
    EXPECT_EQ(bench.seen.tellings, 1) << bench.story();
  }
}

// The sun does not follow the clock of a gateway: the swing stays where it was by the sun.
TEST(ChangeWatch, TheDailyRhythmStaysWhereItWasWhenTheClockIsSet) {
  Bench bench(4);
  bench.run(20 * 24h);
  bench.watch.shift(12h);
  bench.world.clock = 12h;
  double worst = 0;
  for (int i = 0; i < 24; ++i) {
    bench.run(1h);
    worst = std::max(worst, std::abs(bench.watch.off_usual().db(Stream::common)));
  }
  // Three deviations of the wandering; a rhythm that moved with the clock would be 2 dB off.
  EXPECT_LT(worst, 1.3);
}

TEST(ChangeWatch, SettlingForgetsTheStep) {
  Bench bench(2);
  bench.run(4 * 24h);
  bench.world.fault = step(kNearReceive, 5, bench.world.now);
  bench.run(6min);
  EXPECT_TRUE(bench.watch.unsettled());
  bench.watch.settle();
  EXPECT_FALSE(bench.watch.unsettled());
  bench.run(12h);
  EXPECT_EQ(bench.seen.tellings, 0) << bench.story();
}

TEST(ChangeWatch, OfAMovingSiteOnlyNoiseIsJudged) {
  Bench bench(6);
  bench.watch.set_moving(true);
  bench.run(3 * 24h);
  bench.world.fault = step(kPath, 12, bench.world.now);
  bench.run(24h);
  EXPECT_EQ(bench.seen.tellings, 0) << bench.story();
  bench.world.fault = step(kNearNoise, 4, bench.world.now);
  bench.run(2h);
  ASSERT_TRUE(bench.seen.first);
  EXPECT_EQ(bench.seen.first->what.cause, Cause::near_noise);
}

TEST(ChangeWatch, ASiteDeclaredMovingKeepsNoVerdictOnItsSignals) {
  Bench bench(6);
  bench.world.fault = step(kFarTransmit, 5, kStart + 3 * 24h);
  bench.run(3 * 24h + 3h);
  ASSERT_EQ(bench.now_told, 1U);
  bench.watch.set_moving(true);
  bench.run(1h);
  EXPECT_EQ(bench.now_told, 0U);
}

TEST(ChangeWatch, UpkeepLeavesNothingBehind) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    Bench bench(seed);
    bench.run(10 * 24h);
    bench.world.fault = step(kPath, 20, bench.world.now);   // the antenna lies on the ground
    bench.run(40h, false);
    bench.world.fault = none();
    bench.watch.settle();
    bench.run(12 * 24h);
    EXPECT_EQ(bench.seen.tellings, 0) << "seed " << seed << ": " << bench.story();
  }
}

TEST(ChangeWatch, AGapIsNoChange) {
  for (unsigned seed = 1; seed <= 3; ++seed)
    for (const Duration gap : {Duration{1h}, Duration{13h}, Duration{24h * 20}}) {
      Bench bench(seed);
      bench.run(9 * 24h);
      bench.world.now += gap;
      bench.run(6 * 24h);
      EXPECT_EQ(bench.seen.tellings, 0) << "seed " << seed << ": " << bench.story();
    }
}

TEST(ChangeWatch, ADirectionThatBeginsOrEndsIsNoChange) {
  for (const double out_db : {-92.0, -112.0})   // far from the inbound level, either way
    for (unsigned seed = 1; seed <= 2; ++seed) {
      Bench bench(seed);
      bench.world.out_db = out_db;
      const auto only_inbound = [](link::Block& block) { block.sides[1] = {}; };
      bench.world.alter = only_inbound;
      bench.run(4 * 24h);
      bench.world.alter = nullptr;
      bench.run(6 * 24h);
      EXPECT_EQ(bench.seen.tellings, 0) << "begins, seed " << seed << ", " << out_db << ": " << bench.story();
      bench.world.alter = only_inbound;
      bench.run(14 * 24h);
      EXPECT_EQ(bench.seen.tellings, 0) << "ends, seed " << seed << ", " << out_db << ": " << bench.story();
      // And what comes after is judged by the level of that direction.
      bench.world.fault = step(kPath, 8, bench.world.now);
      bench.run(2h);
      ASSERT_TRUE(bench.seen.first) << "seed " << seed;
      EXPECT_EQ(bench.seen.first->what.cause, Cause::path) << "seed " << seed;
      EXPECT_NEAR(bench.seen.first->what.size_db, 8, 1.6) << "seed " << seed;
    }
}

TEST(ChangeWatch, NoiseThatBecomesKnownDuringAChangeIsNoEvidence) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    Bench bench(seed);
    bench.world.alter = [](link::Block& block) {
      for (link::BlockSide& side : block.sides) side.noise_known = false;
    };
    bench.run(4 * 24h);
    bench.world.fault = step(kFarTransmit, 4, bench.world.now);
    bench.run(6min);
    bench.world.alter = nullptr;
    bench.run(6h);
    ASSERT_TRUE(bench.seen.first) << "seed " << seed;
    EXPECT_EQ(bench.seen.last->what.cause, Cause::far_transmit) << "seed " << seed << ": " << bench.story();
    EXPECT_NEAR(bench.seen.last->what.size_db, 4, 0.8) << "seed " << seed;
    EXPECT_EQ(bench.now_told, 1U) << "seed " << seed;
  }
}

TEST(ChangeWatch, AbsenceOfSignalsDoesNotEndWhatWasTold) {
  for (const Case& one : kCases) {
    if (one.cause == Cause::near_noise || one.cause == Cause::far_noise) continue;
    Bench bench(8);
    bench.world.fault = step(one.per_db, one.size_db, kStart + 4 * 24h);
    bench.run(4 * 24h + 5h);
    ASSERT_EQ(bench.now_told, 1U) << name_of(one.cause);
    bench.world.alter = [](link::Block& block) { block.sides[1] = {}; };
    bench.run(4 * 24h);
    EXPECT_EQ(bench.now_told, 1U) << name_of(one.cause) << bench.story();
  }
}

TEST(ChangeWatch, ABlockOfHoursIsDatedByItsOwnLength) {
  // A site that reports every ten minutes: three hours a block.
  Bench bench(5, 3h);
  bench.run(30 * 24h);
  ASSERT_EQ(bench.seen.tellings, 0) << bench.story();
  const Time onset = bench.world.now;
  bench.world.fault = step(kFarTransmit, 5, onset, onset + 4 * 24h);
  bench.run(4 * 24h);
  ASSERT_TRUE(bench.seen.first);
  EXPECT_EQ(bench.seen.first->what.cause, Cause::far_transmit);
  EXPECT_LE(std::chrono::abs(bench.seen.first->onset - onset), 6h);
  bench.run(30 * 24h);
  EXPECT_TRUE(bench.seen.ended);
  EXPECT_EQ(bench.now_told, 0U);
  EXPECT_EQ(bench.seen.tellings, 1) << bench.story();
}

TEST(ChangeWatch, ADriftIsDatedByItsHoursWhereReportsAreRare) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    Bench bench(seed, 3h);   // a value stands for three hours
    const Time from = kStart + 60 * 24h;
    bench.world.fault = [=](Time at) {
      const double lost = 6 * std::clamp(duration_to_seconds(at - from) / (30 * 86400), 0.0, 1.0);
      return Air{-lost, -lost, 0, 0};
    };
    bench.run(110 * 24h);
    ASSERT_TRUE(bench.seen.first) << "seed " << seed;
    EXPECT_EQ(bench.seen.first->what.cause, Cause::path) << "seed " << seed << ": " << bench.story();
    // A day is a day of values: the look over days goes back 24 of them at least.
    EXPECT_GE(bench.seen.first->told_at - bench.seen.first->onset, 3 * 24h) << "seed " << seed << ": " << bench.story();
  }
}

TEST(ChangeWatch, BehindARepeaterTheInboundSignalAloneIsFollowed) {
  Bench bench(3);
  bench.watch.set_relayed(true);
  bench.run(4 * 24h);
  bench.world.fault = step(kNearTransmit, 9, bench.world.now);
  bench.run(24h);
  EXPECT_EQ(bench.seen.tellings, 0) << bench.story();
  bench.world.fault = step(kFarTransmit, 9, bench.world.now);   // and the outbound one is back
  bench.run(2h);
  ASSERT_TRUE(bench.seen.first);
  EXPECT_EQ(bench.seen.first->what.cause, Cause::path) << "one direction cannot say more";
  EXPECT_NEAR(bench.seen.last->what.size_db, 9, 1.8);
}

TEST(ChangeWatch, AYearOfTroubleStaysBounded) {
  Bench bench(21);
  std::mt19937 random(21);
  std::string first;
  for (int i = 0; i < 365; ++i) {
    const Case& one = kCases[random() % std::size(kCases)];
    const Time from = bench.world.now + std::chrono::minutes{random() % 1400};
    bench.world.fault = step(one.per_db, 1.0 + static_cast<double>(random() % 12), from, from + std::chrono::minutes{random() % 1400});
    if (random() % 20 == 0) bench.watch.settle();
    bench.run(24h, random() % 30 != 0);
    const Changes off = bench.watch.off_usual();
    for (std::size_t s = 0; s < kStreams; ++s) {
      ASSERT_TRUE(std::isfinite(off.by_db[s]) && std::isfinite(off.sigma_db[s])) << "day " << i;
      if (off.known[s]) {
        ASSERT_LT(std::abs(off.by_db[s]), 40) << "day " << i;
      }
    }
    if (i == 180) first = saved(bench.watch);
  }
  EXPECT_LE(bench.most, 16U);
  EXPECT_LT(saved(bench.watch).size(), first.size() + 4000);
}

}  // namespace
}  // namespace fadeward::judge::change_watch_test
