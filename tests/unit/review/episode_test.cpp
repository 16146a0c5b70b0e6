#include "fadeward/review/episode.hpp"

#include <gtest/gtest.h>

namespace fadeward::review::episode_test {
namespace {

using enum history::EventChange;

constexpr Time at(int hour) { return Time{std::chrono::hours{500000 + hour}}; }

history::EventRecord event(int hour, history::EventChange change, AlertName alert,
                           std::optional<Direction> direction = {},
                           Severity severity = Severity::warning) {
  history::EventRecord out;
  out.time = at(hour);
  out.link = "weir";
  out.change = change;
  out.alert = alert;
  out.direction = direction;
  out.severity = severity;
  out.text = "told at " + std::to_string(hour);
  return out;
}

TEST(Episodes, BeginEndAndWorst) {
  auto later = event(3, changed, AlertName::MarginLow, Direction::inbound, Severity::critical);
  later.cause = Cause::path;
  const auto all = episodes_of({event(1, raised, AlertName::MarginLow, Direction::inbound),
                                event(2, raised, AlertName::MarginLow, Direction::outbound), later,
                                event(5, cleared, AlertName::MarginLow, Direction::inbound)});
  ASSERT_EQ(all.size(), 2u);
  EXPECT_EQ(all[0].from, at(1));
  EXPECT_EQ(*all[0].to, at(5));
  EXPECT_EQ(all[0].severity, Severity::critical);
  EXPECT_EQ(all[0].cause, Cause::path);
  EXPECT_EQ(all[0].text, "told at 3") << "what was told while it stood, not that it is over";
  EXPECT_FALSE(all[1].to) << "still standing";
}

TEST(Episodes, AnAlertFromBeforeThePeriodBeginsAtItsOnset) {
  auto end = event(5, cleared, AlertName::FadingSuspected);
  end.onset = at(-30);
  const auto all = episodes_of({end});
  ASSERT_EQ(all.size(), 1u);
  EXPECT_EQ(all[0].from, at(-30));
  EXPECT_EQ(*all[0].to, at(5));
}

TEST(Episodes, RaisedTwiceIsTwoOfThem) {
  const auto all =
      episodes_of({event(1, raised, AlertName::LinkSilent), event(4, raised, AlertName::LinkSilent),
                   event(6, cleared, AlertName::LinkSilent)});
  ASSERT_EQ(all.size(), 2u);
  EXPECT_FALSE(all[0].to);
  EXPECT_EQ(*all[1].to, at(6));
}

}  // namespace
}  // namespace fadeward::review::episode_test
