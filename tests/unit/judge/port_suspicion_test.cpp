#include "fadeward/judge/port_suspicion.hpp"

#include <gtest/gtest.h>

namespace fadeward::judge::port_suspicion_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kNow{std::chrono::seconds{1'893'499'200}};   // 1 January 2030, 12:00 UTC

/// The links of one port, each with one word or none.
class Port {
 public:
  CauseSet judge(const std::vector<NearSide>& said, std::size_t active, Duration later = 1min) {
    now += later;
    return judge_port(said, active, now, book, {kNoLink, 2, &events});
  }
  static std::vector<NearSide> say(int links, Cause cause, Time onset = kNow, double size_db = 4) {
    std::vector<NearSide> out;
    for (int i = 0; i < links; ++i) out.push_back(word(static_cast<std::uint32_t>(i), cause, onset + 1min * i, size_db + 0.1 * i));
    return out;
  }
  static NearSide word(std::uint32_t speaker, Cause cause, Time onset, double size_db) {
    NearSide one;
    one.speaker = speaker;
    one.cause = cause;
    one.onset = onset;
    one.size_db = size_db;
    return one;
  }

  /// The first `links` of them have fallen silent since they spoke.
  static std::vector<NearSide> silenced(std::vector<NearSide> said, std::uint32_t links) {
    for (NearSide& one : said) one.heard = one.speaker >= links;
    return said;
  }
  bool stale() const {
    std::vector<AlertState> states;
    book.append_states({}, states);
    return !states.empty() && states[0].active && states[0].stale;
  }

  Time now = kNow + 30min;
  AlertBook book;
  std::vector<Event> events;
};

TEST(PortSuspicion, OnlyWhatLinksShareAtTheNearEnd) {
  for (const Cause cause : {Cause::near_antenna, Cause::near_transmit, Cause::near_receive, Cause::near_noise, Cause::near_channels})
    EXPECT_TRUE(is_near_side(cause)) << name_of(cause);
  for (const Cause cause : {Cause::none, Cause::path, Cause::far_antenna, Cause::far_transmit, Cause::far_receive,
                            Cause::far_noise, Cause::far_channels, Cause::collisions, Cause::silent})
    EXPECT_FALSE(is_near_side(cause)) << name_of(cause);
}

TEST(PortSuspicion, ThreeOfSixAreOneAlertOfThePort) {
  Port port;
  const CauseSet told = port.judge(Port::say(3, Cause::near_noise), 6);
  EXPECT_TRUE(told.has(Cause::near_noise));
  ASSERT_EQ(port.events.size(), 1U);
  const Event& event = port.events[0];
  EXPECT_EQ(event.change, Change::raised);
  EXPECT_EQ(event.alert, AlertName::InterferenceSuspected);
  EXPECT_EQ(event.cause, Cause::near_noise);
  EXPECT_EQ(event.port, 2U);
  EXPECT_EQ(event.link, kNoLink);
  EXPECT_EQ(event.direction, Direction::inbound);
  EXPECT_EQ(event.onset, kNow + 1min);           // the middle one
  EXPECT_NEAR(*event.size_db, 4.1, 1e-9);
  EXPECT_NE(event.text.find("3 of 6"), std::string::npos) << event.text;
  EXPECT_NE(event.text.find("4.1 dB"), std::string::npos) << event.text;
  EXPECT_NE(event.text.find("12:01 UTC"), std::string::npos) << event.text;
  for (int i = 0; i < 100; ++i) port.judge(Port::say(3, Cause::near_noise), 6);
  EXPECT_EQ(port.events.size(), 1U) << "told once";
}

TEST(PortSuspicion, TwoOfSixOrTwoOfTwoAreNot) {
  Port port;
  EXPECT_TRUE(port.judge(Port::say(2, Cause::near_noise), 6).empty());
  EXPECT_TRUE(port.judge(Port::say(2, Cause::near_noise), 2).empty());
  EXPECT_TRUE(port.judge(Port::say(3, Cause::near_noise), 7).empty()) << "less than half";
  EXPECT_TRUE(port.judge(Port::say(6, Cause::far_noise), 6).empty()) << "not at the near end";
  std::vector<NearSide> mixed = Port::say(2, Cause::near_noise);
  mixed.push_back(Port::word(2, Cause::near_receive, kNow, 4));
  EXPECT_TRUE(port.judge(mixed, 6).empty());
  EXPECT_TRUE(port.events.empty());
}

TEST(PortSuspicion, DoesNotFlapAtItsEdge) {
  Port port;
  port.judge(Port::say(3, Cause::near_receive), 6);
  ASSERT_EQ(port.events.size(), 1U);
  for (int i = 0; i < 20; ++i)
    EXPECT_TRUE(port.judge(Port::say(i % 2 == 0 ? 2 : 3, Cause::near_receive), 6).has(Cause::near_receive));
  EXPECT_EQ(port.events.size(), 1U);
  EXPECT_TRUE(port.judge(Port::say(1, Cause::near_receive), 6).empty()) << "less than a third";
  ASSERT_EQ(port.events.size(), 2U);
  EXPECT_EQ(port.events[1].change, Change::cleared);
  EXPECT_TRUE(port.judge(Port::say(2, Cause::near_receive), 6).empty()) << "two do not raise it";
  EXPECT_EQ(port.events.size(), 2U);
}

TEST(PortSuspicion, OnsetsFarApartAreDifferentMatters) {
  Port port;
  std::vector<NearSide> said = {Port::word(0, Cause::near_noise, kNow - 50h, 4), Port::word(1, Cause::near_noise, kNow - 9h, 4),
                                Port::word(2, Cause::near_noise, kNow, 4)};
  EXPECT_TRUE(port.judge(said, 4).empty());
  // Two old ones beside three of the same minute.
  said = Port::say(3, Cause::near_noise);
  said.push_back(Port::word(3, Cause::near_noise, kNow - 50h, 9));
  said.push_back(Port::word(4, Cause::near_noise, kNow + 9h, 9));
  EXPECT_TRUE(port.judge(said, 5).has(Cause::near_noise));
  ASSERT_EQ(port.events.size(), 1U);
  EXPECT_NE(port.events[0].text.find("3 of 5"), std::string::npos) << port.events[0].text;
  EXPECT_LT(*port.events[0].size_db, 5) << "of those that belong together";
}

TEST(PortSuspicion, OneLinkThatSaysItTwiceIsOneLink) {
  Port port;
  const std::vector<NearSide> said = {Port::word(0, Cause::near_noise, kNow, 2), Port::word(0, Cause::near_noise, kNow + 40min, 3),
                                      Port::word(1, Cause::near_noise, kNow, 2)};
  EXPECT_TRUE(port.judge(said, 4).empty());
  EXPECT_TRUE(port.events.empty());
}

TEST(PortSuspicion, TwoMattersThatShareAnAlertDoNotTakeTurns) {
  Port port;
  std::vector<NearSide> both = Port::say(4, Cause::near_noise);
  for (const NearSide& one : Port::say(3, Cause::near_channels)) both.push_back(one);
  for (int i = 0; i < 10; ++i) {
    const CauseSet told = port.judge(both, 6);
    EXPECT_TRUE(told.has(Cause::near_noise));
    EXPECT_TRUE(told.has(Cause::near_channels)) << "withheld at the links all the same";
  }
  ASSERT_EQ(port.events.size(), 1U);
  EXPECT_EQ(port.events[0].cause, Cause::near_noise) << "what more links say";
  // When it is over the other one speaks, in the same alert.
  port.judge(Port::say(3, Cause::near_channels), 6);
  ASSERT_EQ(port.events.size(), 2U);
  EXPECT_EQ(port.events[1].change, Change::changed);
  EXPECT_EQ(port.events[1].cause, Cause::near_channels);
  port.judge({}, 6);
  ASSERT_EQ(port.events.size(), 3U);
  EXPECT_EQ(port.events[2].change, Change::cleared);
}

// What has stood for three weeks may have become the usual: nobody is told that it is over.
TEST(PortSuspicion, ItsEndSaysNoMoreThanIsKnown) {
  for (const auto& [days, words] : {std::pair{2, "It is over"}, {21, "taken these for the usual"}}) {
    Port port;
    port.judge(Port::say(3, Cause::near_noise), 4);
    port.judge({}, 4, 24h * days);
    ASSERT_EQ(port.events.size(), 2U);
    EXPECT_NE(port.events[1].text.find(words), std::string::npos) << port.events[1].text;
  }
}

TEST(PortSuspicion, SilenceOfAllLinksEndsNothing) {
  Port port;
  port.judge(Port::say(3, Cause::near_noise), 4);
  ASSERT_EQ(port.events.size(), 1U);
  EXPECT_TRUE(port.judge({}, 0).has(Cause::near_noise));
  EXPECT_EQ(port.events.size(), 1U) << "absence of data never clears";
  EXPECT_TRUE(port.stale());
  port.judge({}, 4);
  ASSERT_EQ(port.events.size(), 2U);
  EXPECT_EQ(port.events[1].change, Change::cleared);
}

// Three of four have it; these three fall silent while the fourth goes on.
TEST(PortSuspicion, SilenceOfThoseThatCarryItMakesItStale) {
  Port port;
  const std::vector<NearSide> said = Port::say(3, Cause::near_noise);
  port.judge(said, 4);
  ASSERT_EQ(port.events.size(), 1U);
  EXPECT_FALSE(port.stale());
  EXPECT_TRUE(port.judge(Port::silenced(said, 2), 2).has(Cause::near_noise));
  EXPECT_FALSE(port.stale()) << "one of them is heard";
  EXPECT_TRUE(port.judge(Port::silenced(said, 3), 1).has(Cause::near_noise));
  EXPECT_TRUE(port.stale());
  EXPECT_TRUE(port.judge(said, 4).has(Cause::near_noise));
  EXPECT_FALSE(port.stale()) << "they are back, and it is still there";
  EXPECT_EQ(port.events.size(), 1U) << "nothing is told anew";
  // Two of them say that it is over: the last word of the third does not hold it among six.
  EXPECT_TRUE(port.judge(Port::silenced(Port::say(1, Cause::near_noise), 1), 5).empty());
  ASSERT_EQ(port.events.size(), 2U);
  EXPECT_EQ(port.events[1].change, Change::cleared);
}

TEST(PortSuspicion, SilentLinksRaiseNothing) {
  Port port;
  EXPECT_TRUE(port.judge(Port::silenced(Port::say(4, Cause::near_noise), 2), 3).empty());
  EXPECT_TRUE(port.judge(Port::silenced(Port::say(4, Cause::near_noise), 4), 0).empty());
  EXPECT_TRUE(port.events.empty());
}

}  // namespace
}  // namespace fadeward::judge::port_suspicion_test
