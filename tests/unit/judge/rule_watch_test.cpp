// Live rules against traffic whose channels, dwell and duty are known.
#include "fadeward/judge/rule_watch.hpp"

#include <gtest/gtest.h>

#include <random>

namespace fadeward::judge::rule_watch_test {
namespace {

using namespace std::chrono_literals;

const Time kStart{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}};

LinkSettings settings_of(const std::string& set) {
  LinkSettings out;
  out.name = "weir";
  out.rules.set = set;
  return out;
}
LinkSettings hopping(int channels = 50) {
  LinkSettings out = settings_of("us-15.247-hopping");
  out.rules.channels = channels;
  out.radio.bandwidth_hz = 125e3;
  return out;
}

LinkReport frame(double channel, std::optional<double> airtime_s = {}) {
  LinkReport out;
  out.clear();
  out.set(Field::channel, channel);
  if (airtime_s) out.set(Field::airtime_s, *airtime_s);
  return out;
}

/// One verdict of the channels after another, over `frames` frames.
template <class Channel>
int uneven(RuleWatch& watch, int frames, Channel channel) {
  int broken = 0;
  for (int i = 0; i < frames; ++i) {
    if (const auto drawn = channel()) watch.take(frame(*drawn), kStart + i * 10s);
    const auto verdict = watch.hopping();
    broken += verdict && verdict->broken;
  }
  return broken;
}

// A month of a radio that hops at random, and one whose six jammed channels lose 60 %.
TEST(RuleWatch, HoppingAtRandomIsEven) {
  constexpr unsigned kSeed = 11;
  std::mt19937 random(kSeed);
  for (const double lost : {0.0, 0.6}) {
    RuleWatch watch(hopping());
    const auto channel = [&]() -> std::optional<double> {
      const auto drawn = static_cast<double>(random() % 50);
      const bool gone = drawn < 6 && std::uniform_real_distribution<>()(random) < lost;
      return gone ? std::nullopt : std::optional(drawn);
    };
    EXPECT_EQ(uneven(watch, 260'000, channel), 0) << "seed " << kSeed << ", lost " << lost;
    EXPECT_TRUE(watch.hopping());
  }
}

TEST(RuleWatch, HalfOfTheChannelsIsNotEnough) {
  constexpr unsigned kSeed = 12;
  std::mt19937 random(kSeed);
  RuleWatch watch(hopping());
  EXPECT_GT(uneven(watch, 3000, [&] { return std::optional(static_cast<double>(random() % 25)); }),
            0);
  const auto verdict = watch.hopping();
  ASSERT_TRUE(verdict && verdict->broken);
  EXPECT_NE(verdict->text.find("Of 50 hop channels 25 carried"), std::string::npos)
      << verdict->text;
  EXPECT_NE(verdict->text.find("47 CFR 15.247(a)(1)(i)"), std::string::npos) << verdict->text;
  EXPECT_NE(verdict->text.find("local regulator decides"), std::string::npos) << verdict->text;
  uneven(watch, 1001, [&] { return std::optional(static_cast<double>(random() % 50)); });
  EXPECT_FALSE(watch.hopping()->broken) << "hops again";
}

// The plan moves by a thousand channels: the old ones are not held against it. Where the rule set
// alone says how many channels there must be, half of them is not enough.
TEST(RuleWatch, AnotherPlanIsMetAnewAndTheRuleSetCounts) {
  constexpr unsigned kSeed = 14;
  std::mt19937 random(kSeed);
  LinkSettings plain = hopping();
  plain.rules.channels.reset();
  RuleWatch watch(plain);
  const auto of = [&](unsigned first, unsigned count) {
    return [&random, first, count] {
      return std::optional(static_cast<double>(first + random() % count));
    };
  };
  EXPECT_EQ(uneven(watch, 3000, of(0, 50)), 0) << "seed " << kSeed;
  uneven(watch, 2000, of(1000, 50));  // the block in which it changed may be told
  EXPECT_EQ(uneven(watch, 3000, of(1000, 50)), 0) << "seed " << kSeed;
  uneven(watch, 2000, of(1000, 25));
  ASSERT_TRUE(watch.hopping() && watch.hopping()->broken);
  EXPECT_NE(watch.hopping()->text.find("Of 50 hop channels 25"), std::string::npos)
      << watch.hopping()->text;
}

// One channel in five frames, the others at random.
TEST(RuleWatch, AFavouriteChannelIsTold) {
  constexpr unsigned kSeed = 13;
  std::mt19937 random(kSeed);
  RuleWatch watch(hopping());
  const auto channel = [&] {
    return std::optional(random() % 5 == 0 ? 17.0 : static_cast<double>(random() % 50));
  };
  EXPECT_GT(uneven(watch, 1001, channel), 0);
  EXPECT_NEAR(watch.hopping()->value, 0.2 + 0.8 / 50, 0.05) << "seed " << kSeed;
}

TEST(RuleWatch, FewFramesSayNothingOfChannels) {
  RuleWatch watch(hopping());
  for (int i = 0; i < 999; ++i) watch.take(frame(3), kStart + i * 10s);
  EXPECT_FALSE(watch.hopping());
  watch.take(frame(3), kStart + 9990s);
  EXPECT_TRUE(watch.hopping()->broken);
}

// 47 CFR 15.247(a)(1)(i): at most 0.4 s within 20 s where the hop channel is narrower than 250 kHz,
// within 10 s where it is wider.
TEST(RuleWatch, DwellIsSummedWithinItsPeriod) {
  RuleWatch watch(hopping());
  Time at = kStart;
  for (int i = 0; i < 400; ++i, at += 10s) watch.take(frame(7, 0.15), at);  // two within 20 s
  ASSERT_TRUE(watch.dwell(at));
  EXPECT_FALSE(watch.dwell(at)->broken);
  for (int i = 0; i < 4; ++i, at += 5s) watch.take(frame(7, 0.15), at);  // 0.6 s within 20 s
  ASSERT_TRUE(watch.dwell(at)->broken);
  EXPECT_NEAR(watch.dwell(at)->value, 0.6, 1e-9);
  EXPECT_NE(watch.dwell(at)->text.find("0.6 s within 20 s"), std::string::npos)
      << watch.dwell(at)->text;
  EXPECT_TRUE(watch.dwell(at + 50min)->broken);
  EXPECT_FALSE(watch.dwell(at + 61min)->broken);
}

TEST(RuleWatch, OtherChannelsDoNotAddToDwell) {
  RuleWatch watch(hopping());
  for (int i = 0; i < 4000; ++i) watch.take(frame(i % 50, 0.3), kStart + i * 1s);
  EXPECT_FALSE(watch.dwell(kStart + 4000s)->broken);
}

// ERC Recommendation 70-03, 868.0 to 868.6 MHz: 1 % of any hour.
TEST(RuleWatch, DutyIsThatOfTheLastHour) {
  LinkSettings europe = settings_of("eu-863-870");
  europe.budget.frequency_mhz = 868.1;
  for (const auto& [airtime_s, broken] : {std::pair{0.29, false}, {0.31, true}}) {
    RuleWatch watch(europe);
    Time at = kStart;
    for (; at < kStart + 59min; at += 30s) watch.take(frame(0, airtime_s), at);
    if (!broken) {
      EXPECT_FALSE(watch.duty(Direction::inbound, at)) << "an hour is not over";
    }
    for (; at < kStart + 2h; at += 30s) watch.take(frame(0, airtime_s), at);
    const auto verdict = watch.duty(Direction::inbound, at);
    ASSERT_TRUE(verdict);
    EXPECT_EQ(verdict->broken, broken);
    EXPECT_NEAR(verdict->value, airtime_s / 30, 2.5e-4);  // by the minute
    EXPECT_FALSE(watch.duty(Direction::outbound, at)) << "nothing is known of the near end";
    EXPECT_FALSE(watch.duty(Direction::inbound, at + 2h)->broken) << "silent since";
  }
}

// Three transmissions for each one heard: the counter knows.
TEST(RuleWatch, CountersTellOfFramesThatWereNotHeard) {
  LinkSettings europe = settings_of("eu-863-870");
  europe.budget.frequency_mhz = 868.1;
  RuleWatch watch(europe);
  Time at = kStart;
  double far = 100, near = 7000;
  for (; at < kStart + 90min; at += 30s, far += 3, near += 1) {
    LinkReport one = frame(0, 0.15);
    one.set(Field::far_tx_frames, far);
    one.set(Field::tx_frames, near);
    watch.take(one, at);
    if (at == kStart + 45min) far = 0;  // a restart counts nothing twice
  }
  EXPECT_NEAR(watch.duty(Direction::inbound, at)->value, 3 * 0.15 / 30, 4e-4);
  EXPECT_TRUE(watch.duty(Direction::inbound, at)->broken);
  EXPECT_NEAR(watch.duty(Direction::outbound, at)->value, 0.15 / 30, 1e-4);
  EXPECT_FALSE(watch.duty(Direction::outbound, at)->broken);
}

TEST(RuleWatch, AStepOfTheClockMovesWhatIsRemembered) {
  LinkSettings europe = settings_of("eu-863-870");
  europe.budget.frequency_mhz = 868.1;
  RuleWatch watch(europe);
  Time at = kStart;
  for (; at < kStart + 2h; at += 30s) watch.take(frame(0, 0.31), at);
  watch.shift(24h * 400);
  EXPECT_TRUE(watch.duty(Direction::inbound, at + 24h * 400)->broken);
  watch.shift(-24h * 800);
  EXPECT_TRUE(watch.duty(Direction::inbound, at - 24h * 400)->broken);
}

TEST(RuleWatch, NonsenseIsBounded) {
  RuleWatch watch(hopping());
  for (int i = 0; i < 20'000; ++i) watch.take(frame(i * 1.5, i % 3 == 0 ? -1 : 1e9), kStart);
  watch.take(frame(0, 0.5), kStart - 24h * 3000);
  watch.take(frame(0, 0.5), kStart + 24h * 3000);
  EXPECT_FALSE(watch.hopping()) << "too many channels to say";
  EXPECT_TRUE(watch.dwell(kStart + 24h * 3000));
}

LinkReport clocked(double offset_s) {
  LinkReport out;
  out.clear();
  out.set(Field::hop_offset_s, offset_s);
  return out;
}

// Common practice: hop clocks stay within one or two milliseconds of each other.
TEST(RuleWatch, HopClocksWithinTwoMillisecondsAreUsual) {
  constexpr unsigned kSeed = 5;
  std::mt19937 random(kSeed);
  std::normal_distribution<> jitter(0, 0.0004);
  RuleWatch watch(settings_of("us-15.247-hopping"));
  for (int i = 0; i < 2000; ++i) {
    const double far_out_s = i % 10 == 0 ? 0.050 : 0;  // one in ten is timed badly
    watch.take(clocked(0.001 + jitter(random) + far_out_s), kStart + i * 10s);
    const auto verdict = watch.hopping();
    EXPECT_FALSE(verdict && verdict->broken) << i << ", seed " << kSeed;
  }
}

// 0.1 ms more each hour, ahead or behind: told when the middle one passes the limit, taken back when
// the clock was set.
TEST(RuleWatch, AHopClockThatDriftsIsTold) {
  for (const double sign : {1.0, -1.0}) {
    RuleWatch watch(settings_of(""));
    std::optional<double> told_at_s;
    int i = 0;
    for (; i < 10'000 && !told_at_s; ++i) {
      const double offset_s = sign * (0.0005 + 1e-4 * i / 360);
      watch.take(clocked(offset_s), kStart + i * 10s);
      if (const auto verdict = watch.hopping(); verdict && verdict->broken) told_at_s = std::abs(offset_s);
    }
    ASSERT_TRUE(told_at_s);
    EXPECT_NEAR(*told_at_s, 0.002, 0.0001);
    EXPECT_NE(watch.hopping()->text.find("ms apart"), std::string::npos);
    for (const int until = i + 40; i < until; ++i) watch.take(clocked(0.0001), kStart + i * 10s);
    ASSERT_TRUE(watch.hopping());
    EXPECT_FALSE(watch.hopping()->broken);
  }
}

TEST(RuleWatch, HopClockLimitIsASetting) {
  LinkSettings settings = settings_of("us-15.247-hopping");
  settings.rules.hop_clock_s = 0.0005;
  RuleWatch watch(settings);
  for (int i = 0; i < 30; ++i) watch.take(clocked(0.001), kStart + i * 10s);
  EXPECT_FALSE(watch.hopping());  // too few to say
  watch.take(clocked(0.001), kStart + 400s);
  ASSERT_TRUE(watch.hopping());
  EXPECT_TRUE(watch.hopping()->broken);
  EXPECT_NEAR(watch.hopping()->value, 0.001, 1e-12);
  settings.rules.hop_clock_s.reset();
  watch.reconfigure(settings);
  // Channels are judged under this set and not known yet: what ends is the clock's own trouble.
  ASSERT_TRUE(watch.hopping());
  EXPECT_FALSE(watch.hopping() && watch.hopping()->broken);
}

}  // namespace
}  // namespace fadeward::judge::rule_watch_test
