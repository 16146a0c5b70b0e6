// What happens before the clock is put right gets the time that it really had.
#include "fadeward/app/history_feed.hpp"

#include <gtest/gtest.h>

namespace fadeward::app::history_feed_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kNow = Time{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}} + 10h;

Settings settings() {
  Settings out;
  out.links.resize(1);
  out.links[0].name = "weir";
  out.links[0].upkeep = {{kNow, kNow + 1h, "mast work"}};
  out.ports.resize(1);
  out.ports[0].name = "mast";
  return out;
}

judge::Event silent(Time at) {
  judge::Event event;
  event.time = at;
  event.link = 0;
  event.alert = AlertName::LinkSilent;
  event.severity = Severity::critical;
  event.cause = Cause::silent;
  event.onset = at - 15min;
  event.text = "x";
  return event;
}

judge::Snapshot snapshot(bool up, std::uint64_t steps = 0) {
  judge::Snapshot out;
  out.clock_steps = steps;
  out.links.resize(1);
  out.links[0].name = "weir";
  out.ports.resize(1);
  out.ports[0].name = "mast";
  out.ports[0].up = up;
  out.ports[0].detail = "/dev/ttyUSB0";
  return out;
}

TEST(HistoryFeed, NamesWhatItKeeps) {
  HistoryFeed feed;
  const Instant now{kNow, 100s};
  feed.started("0.1.0", now);
  feed.settings(settings(), now);
  feed.look(snapshot(true), now);
  feed.note(silent(kNow), settings(), now);
  const history::Batch batch = feed.take(now);
  ASSERT_EQ(batch.events.size(), 1U);
  EXPECT_EQ(batch.events[0].link, "weir");
  EXPECT_EQ(batch.events[0].port, "");
  EXPECT_EQ(batch.events[0].change, history::EventChange::raised);
  EXPECT_EQ(batch.events[0].onset, kNow - 15min);
  ASSERT_EQ(batch.marks.size(), 2U);
  EXPECT_EQ(batch.marks[1].kind, history::MarkKind::port_up);
  EXPECT_EQ(batch.marks[1].port, "mast");
  ASSERT_EQ(batch.periods.size(), 1U);
  EXPECT_EQ(batch.periods[0].note, "mast work");
  EXPECT_EQ(batch.at, kNow);
  EXPECT_TRUE(feed.take(now).empty());

  feed.look(snapshot(true), now);  // nothing new
  EXPECT_TRUE(feed.take(now).empty());
  feed.look(snapshot(false), now);
  EXPECT_EQ(feed.take(now).marks.at(0).kind, history::MarkKind::port_down);
}

// A baseline is told when it is learned, and again when it is another one; what an earlier run had
// learned is kept already.
TEST(HistoryFeed, TellsOfABaselineWhenItIsNew) {
  HistoryFeed feed;
  const Instant now{kNow, 100s};
  const auto periods = [&](std::optional<double> inbound, std::optional<double> outbound) {
    judge::Snapshot seen = snapshot(true);
    seen.links[0].directions[0].baseline_margin_db = inbound;
    seen.links[0].directions[1].baseline_margin_db = outbound;
    feed.look(seen, now);
    return feed.take(now).periods;
  };
  EXPECT_TRUE(periods(21, {}).empty());
  EXPECT_TRUE(periods(21, {}).empty());
  const auto learned = periods(21, 18.5);
  ASSERT_EQ(learned.size(), 1U);
  EXPECT_EQ(learned[0].kind, history::PeriodKind::baseline);
  EXPECT_EQ(learned[0].link, "weir");
  EXPECT_EQ(learned[0].direction, Direction::outbound);
  EXPECT_EQ(learned[0].margin_db, 18.5);
  EXPECT_EQ(learned[0].to, kNow);
  EXPECT_EQ(learned[0].from, kNow - 14 * 24h) << "the days of the commissioning";
  EXPECT_TRUE(periods(21.01, 18.5).empty());
  ASSERT_EQ(periods(23, 18.5).size(), 1U);
}

TEST(HistoryFeed, HoldsWhatCameBeforeTheClock) {
  HistoryFeed feed;
  Instant now{Time{60s}, 100s};
  feed.started("0.1.0", now);
  feed.look(snapshot(true), now);
  feed.note(silent(now.wall), settings(), now);
  EXPECT_TRUE(feed.take(now).empty());
  now = {kNow, 400s};  // five minutes later the clock is put right
  feed.look(snapshot(true, 1), now);
  const history::Batch batch = feed.take(now);
  ASSERT_EQ(batch.events.size(), 1U);
  EXPECT_EQ(batch.events[0].time, kNow - 5min);
  EXPECT_EQ(batch.events[0].onset, kNow - 20min);
  ASSERT_EQ(batch.marks.size(), 3U);
  EXPECT_EQ(batch.marks[0].time, kNow - 5min);
  EXPECT_EQ(batch.marks[2].kind, history::MarkKind::clock_step);
  EXPECT_EQ(feed.dropped(), 0U);
}

TEST(HistoryFeed, TellsOfARestlessPortWithinBounds) {
  HistoryFeed feed;
  bool up = false;
  std::size_t marks = 0;
  const auto look = [&](Duration after) {
    const Instant now{kNow + after, 100s + after};
    feed.look(snapshot(up), now);
    const history::Batch batch = feed.take(now);
    marks += batch.marks.size();
    return batch;
  };
  for (int second = 0; second < 24 * 3600; second += 6, up = !up) look(1s * second);
  EXPECT_EQ(marks, 24U * HistoryFeed::kMostPortMarks);
  // Whatever it was told last, the next hour begins with what it is.
  up = true;
  look(25h);
  up = false;
  EXPECT_EQ(look(26h).marks.at(0).kind, history::MarkKind::port_down);
}

TEST(HistoryFeed, HoldsNoMoreThanItMay) {
  HistoryFeed feed;
  Instant now{Time{60s}, 100s};
  feed.look(snapshot(false), now);
  for (std::size_t i = 0; i < HistoryFeed::kMostHeld + 10; ++i) {
    feed.note(silent(now.wall), settings(), now);
    EXPECT_TRUE(feed.take(now).empty());
    now = {now.wall + 1s, now.steady + 1s};
  }
  EXPECT_EQ(feed.dropped(), 10U);
  // The clock is put right: what is left is the newest, each at its own time.
  now.wall = kNow;
  feed.look(snapshot(false, 1), now);
  const history::Batch batch = feed.take(now);
  ASSERT_EQ(batch.events.size(), HistoryFeed::kMostHeld);
  EXPECT_EQ(batch.events.front().time,
            kNow - 1s * static_cast<std::int64_t>(HistoryFeed::kMostHeld));
  EXPECT_EQ(batch.events.back().time, kNow - 1s);
}

}  // namespace
}  // namespace fadeward::app::history_feed_test
