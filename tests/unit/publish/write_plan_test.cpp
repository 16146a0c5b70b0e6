#include "fadeward/publish/write_plan.hpp"

#include <gtest/gtest.h>

namespace fadeward::publish::write_plan_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{1893456000s};   // 2030-01-01T00:00:00Z: a quarter hour begins

class Plan : public ::testing::Test {
 protected:
  void make(bool out_of_order, Duration max_age = 1h, WriteCursor cursor = {}) {
    WriteRules rules;
    rules.out_of_order = out_of_order;
    rules.max_age = max_age;
    rules.history = true;
    plan.emplace(rules, std::move(cursor), 1000h);
  }
  void look(Duration later, bool trusted = true) { plan->look({kStart + later, 1000h + later}, trusted); }
  /// One live set that is taken and accepted.
  bool live(Duration later) {
    look(later);
    if (!plan->live_due()) return false;
    plan->live_taken();
    plan->live_accepted(kStart + later);
    return true;
  }
  /// Takes the backlog to its end: the ends of its parts, too old ones negative.
  std::vector<Duration> backlog(std::size_t moments = 96) {
    std::vector<Duration> out;
    for (int i = 0; i < 1000; ++i) {
      const auto what = plan->backlog(moments);
      if (!what) break;
      out.push_back((what->too_old ? -1 : 1) * (what->to - kStart));
      plan->backlog_done(*what);
    }
    return out;
  }
  static WriteCursor cursor_at(Duration later) {
    WriteCursor out;
    out.live = kStart + later;
    return out;
  }
  std::optional<WritePlan> plan;
};

TEST_F(Plan, LiveSetsComeOnceAnInterval) {
  make(false);
  EXPECT_TRUE(live(0s));
  EXPECT_FALSE(live(1s));
  EXPECT_FALSE(live(59s));
  EXPECT_TRUE(live(60s));
  EXPECT_TRUE(live(125s));
  EXPECT_FALSE(plan->backlog(96));
  EXPECT_EQ(plan->behind(), 0s);
}

TEST_F(Plan, NothingWhileTheClockIsNotTrusted) {
  make(false);
  look(0s);
  look(10s, false);
  EXPECT_FALSE(plan->live_due());
  look(5h, false);
  EXPECT_FALSE(plan->live_due());
  EXPECT_FALSE(plan->backlog(96));
  EXPECT_EQ(plan->cursor().live, kStart);
}

TEST_F(Plan, AShortOutageNeedsNoBacklog) {
  make(false);
  look(0s);
  live(14min);
  EXPECT_TRUE(live(19min)) << "five minutes: the receiver still shows the last value";
  EXPECT_FALSE(plan->backlog(96));
}

TEST_F(Plan, InOrderLiveWaitsForTheBacklog) {
  make(false);
  look(0s);
  live(10min);
  look(50min);
  EXPECT_FALSE(plan->live_due());
  EXPECT_TRUE(plan->holds_live());
  EXPECT_EQ(plan->behind(), 35min);
  EXPECT_EQ(backlog(), (std::vector<Duration>{15min, 30min, 45min})) << "one by one, oldest first";
  look(50min + 1s);
  EXPECT_TRUE(plan->live_due());
}

TEST_F(Plan, InOrderAQuarterHourThatHasJustEndedIsWaitedFor) {
  make(false);
  look(0s);
  live(10min);
  look(31min);
  EXPECT_EQ(backlog(), std::vector<Duration>{15min});
  EXPECT_FALSE(live(31min + 1s)) << "the one that ended at 30 min may not be on disk yet";
  look(33min);
  EXPECT_EQ(backlog(), std::vector<Duration>{30min});
  EXPECT_TRUE(live(33min + 1s));
}

TEST_F(Plan, InOrderWhatIsOlderThanAnHourIsTooOld) {
  make(false, 24h);   // without a window an hour is the most
  look(0s);
  live(10min);
  look(6h + 5min);
  EXPECT_EQ(backlog(), (std::vector<Duration>{-5h, 5h + 15min, 5h + 30min, 5h + 45min, 6h}));
}

TEST_F(Plan, WhatWaitsTooLongIsOutdated) {
  make(false);
  look(0s);
  live(10min);
  look(40min);
  const auto what = plan->backlog(96);
  ASSERT_TRUE(what);
  look(73min);
  EXPECT_FALSE(plan->outdated(*what));
  look(75min);
  EXPECT_TRUE(plan->outdated(*what)) << "its end was at 15 min";
  EXPECT_TRUE(plan->backlog(96)->too_old);
}

TEST_F(Plan, WithAWindowLiveGoesOnAndTheBacklogFollows) {
  make(true, 24h);
  look(0s);
  live(10min);
  look(6h + 5min);
  EXPECT_TRUE(plan->live_due());
  EXPECT_EQ(plan->behind(), 6h + 5min - 15min);
  EXPECT_FALSE(plan->backlog(96)) << "not before it is known that the receiver is back";
  live(6h + 5min);
  EXPECT_EQ(backlog(10), (std::vector<Duration>{2h + 30min, 5h, 6h}));
  EXPECT_EQ(plan->behind(), 0s);
  EXPECT_TRUE(plan->cursor().gaps.empty());
}

TEST_F(Plan, WithAWindowWhatIsOlderThanItIsTooOld) {
  make(true, 2h);
  look(0s);
  live(10min);
  live(6h + 5min);
  const auto parts = backlog(96);
  ASSERT_EQ(parts.size(), 2U);
  EXPECT_EQ(parts[0], -(4h));
  EXPECT_EQ(parts[1], 6h);
}

TEST_F(Plan, SeveralOutagesAreFilledOldestFirst) {
  make(true, 24h);
  look(0s);
  live(1min);
  live(40min);
  live(80min);
  ASSERT_EQ(plan->cursor().gaps.size(), 2U);
  EXPECT_EQ(backlog(), (std::vector<Duration>{30min, 75min}));
}

TEST_F(Plan, TooManyOutagesBecomeFewer) {
  make(true, 24h * 30);
  look(0s);
  for (int i = 1; i <= 200; ++i) live(i * 30min);
  EXPECT_EQ(plan->cursor().gaps.size(), WritePlan::kMostGaps);
  look(200 * 30min + 3min);
  const auto parts = backlog(1);
  EXPECT_EQ(parts.size(), 400U) << "every quarter hour since the beginning";
}

TEST_F(Plan, ARestartGoesOnWhereItEnded) {
  make(false, 1h, cursor_at(0s));
  plan->look({kStart + 40min, 1000h}, true);
  EXPECT_TRUE(plan->holds_live());
  EXPECT_FALSE(plan->backlog(96)) << "the open quarter hours of the last run are still on their way";
  plan->look({kStart + 42min, 1000h + 2min}, true);
  EXPECT_EQ(backlog(), (std::vector<Duration>{15min, 30min}));
}

TEST_F(Plan, WithoutHistoryLiveSimplyGoesOn) {
  plan.emplace(WriteRules{}, cursor_at(0s), 1000h);
  look(6h);
  EXPECT_TRUE(plan->live_due());
  EXPECT_FALSE(plan->backlog(96));
  EXPECT_EQ(plan->behind(), 0s);
}

TEST_F(Plan, AClockSetBackALittleIsWaitedForAndFarBackBeginsAnew) {
  make(false);
  EXPECT_TRUE(live(2h));
  EXPECT_FALSE(live(1h + 30min));
  EXPECT_TRUE(live(2h + 1min));
  look(30min);
  EXPECT_EQ(plan->cursor().live, kStart + 30min) << "a clock that was hours ahead must not silence us for long";
  EXPECT_TRUE(live(31min));
}

TEST_F(Plan, LongIntervalsAreNoOutages) {
  WriteRules rules;
  rules.interval = 1h;
  rules.history = true;
  plan.emplace(rules, WriteCursor{}, 1000h);
  look(0s);
  EXPECT_TRUE(live(1s));
  EXPECT_TRUE(live(1h));
  EXPECT_TRUE(live(2h + 1s));
  EXPECT_FALSE(plan->backlog(96));
}

TEST(WriteCursor, SurvivesItsText) {
  WriteCursor cursor;
  cursor.target = "http://h:9090/api/v1/write";
  cursor.live = kStart + 123ms;
  cursor.gaps = {{kStart - 5h, kStart - 4h}, {kStart - 1h, kStart - 1min}};
  EXPECT_EQ(WriteCursor::parse(cursor.text()), cursor);
}

TEST(WriteCursor, RefusesWhatIsNone) {
  WriteCursor cursor;
  cursor.live = kStart;
  cursor.gaps = {{kStart - 5h, kStart - 4h}};
  const std::string good = cursor.text();
  ASSERT_TRUE(WriteCursor::parse(good));
  for (std::size_t size = 0; size < good.size(); ++size) {
    const auto part = WriteCursor::parse(std::string_view(good).substr(0, size));
    if (part) {
      EXPECT_EQ(part->live, kStart) << "cut between two lines";
    }
  }
  for (const char* text : {"", "\n", "fadeward push cursor 2\nlive 1\n", "fadeward push cursor 1\nlive -1\n",
                           "fadeward push cursor 1\nlive 99999999999999\n", "fadeward push cursor 1\nlive 1x\n",
                           "fadeward push cursor 1\nlive 1\ngap 2 1\n", "fadeward push cursor 1\nlive 1\nmore\n",
                           "fadeward push cursor 1\ntarget x\n", "live 1\n",
                           "fadeward push cursor 1\nfadeward push cursor 1\nlive 1\n"})
    EXPECT_FALSE(WriteCursor::parse(text)) << text;
}

}  // namespace
}  // namespace fadeward::publish::write_plan_test
