#include "fadeward/publish/alert_schedule.hpp"

#include <gtest/gtest.h>

#include <string>

namespace fadeward::publish::alert_schedule_test {
namespace {

using namespace std::chrono_literals;

class Schedule : public ::testing::Test {
 protected:
  PushOutcome answer(unsigned status, Duration now, std::string wait = {}) {
    WebAnswer came;
    came.status = status;
    came.retry_after = std::move(wait);
    return schedule.answered(came, now, Time{1893459600s});
  }
  void told(std::uint64_t version, Duration now) {
    schedule.sent(version);
    EXPECT_FALSE(schedule.due(now, version + 1, false)) << "one request at a time";
    answer(200, now);
  }
  AlertSchedule schedule{7};
};

TEST_F(Schedule, BeginsAtOnceEvenWithNothing) {
  EXPECT_TRUE(schedule.due(0s, 0, true));
  told(0, 1s);
  EXPECT_FALSE(schedule.due(2s, 0, true));
  EXPECT_FALSE(schedule.due(15min, 0, true));
  EXPECT_TRUE(schedule.due(15min + 1s, 0, true)) << "is it still there?";
}

TEST_F(Schedule, ChangesAtOnceTheSameEveryMinute) {
  told(1, 0s);
  EXPECT_FALSE(schedule.due(59s, 1, false));
  EXPECT_TRUE(schedule.due(60s, 1, false));
  EXPECT_TRUE(schedule.due(1s, 2, false));
  told(2, 1s);
  EXPECT_FALSE(schedule.due(60s, 2, false));
  EXPECT_TRUE(schedule.due(61s, 2, false));
}

// At least four requests fit into the four minutes that an alert is announced ahead.
TEST_F(Schedule, FailuresDoubleTheWaitUpToAMinuteAndAQuarter) {
  Duration now = 0s;
  Duration last = 0s;
  for (int i = 0; i < 10; ++i) {
    schedule.sent(1);
    answer(i % 3 == 0 ? 503 : i % 3 == 1 ? 401 : 0, now);
    Duration wait = 0s;
    while (!schedule.due(now + wait, 1, false)) wait += 100ms;
    EXPECT_GE(wait, std::min<Duration>(2s * (1 << i), 60s));
    EXPECT_LE(wait, std::min<Duration>(2s * (1 << i), 60s) * 5 / 4 + 100ms);
    EXPECT_EQ(schedule.told(), 0U);
    last = wait;
    now += wait;
  }
  EXPECT_GE(last, Duration(60s));
  told(1, now);
  schedule.sent(1);
  answer(500, now + 60s);
  EXPECT_TRUE(schedule.due(now + 63s, 1, false)) << "a success begins anew";
}

TEST_F(Schedule, AChangeDoesNotBreakTheWait) {
  schedule.sent(1);
  answer(503, 0s, "40");
  EXPECT_FALSE(schedule.due(39s, 2, false)) << "the server asked for 40 s";
  EXPECT_TRUE(schedule.due(40s, 2, false));
}

TEST_F(Schedule, WhatIsRefusedIsNotSentAgainAtOnce) {
  schedule.sent(3);
  EXPECT_EQ(answer(400, 0s), PushOutcome::poison);
  EXPECT_EQ(schedule.told(), 3U);
  EXPECT_FALSE(schedule.due(59s, 4, false));
  EXPECT_TRUE(schedule.due(60s, 3, false)) << "but the newest state after a minute";
}

TEST_F(Schedule, AChangeDuringARequestIsSentAfterIt) {
  schedule.sent(1);
  answer(200, 5s);
  EXPECT_TRUE(schedule.due(5s, 2, false));
}

}  // namespace
}  // namespace fadeward::publish::alert_schedule_test
