#include "fadeward/port/poll_schedule.hpp"

#include <gtest/gtest.h>

namespace fadeward::port::poll_schedule_test {
namespace {

PollSettings every(Duration span, Duration quiet) {
  return {.send = "?", .every = span, .quiet_before = quiet};
}

TEST(PollSchedule, FirstQuestionFollowsQuietAfterOpening) {
  PollSchedule schedule(every(60s, 1s));
  schedule.restart(100s);
  EXPECT_EQ(schedule.wait(100s), 1s);
  EXPECT_EQ(schedule.wait(101s), 0s);
}

TEST(PollSchedule, NextQuestionIsAnIntervalLater) {
  PollSchedule schedule(every(60s, 1s));
  schedule.restart(100s);
  schedule.asked(101s);
  EXPECT_EQ(schedule.wait(101s), 60s);
  EXPECT_EQ(schedule.wait(160s), 1s);
  EXPECT_EQ(schedule.wait(161s), 0s);
}

TEST(PollSchedule, NeverFallsIntoAnAnswer) {
  PollSchedule schedule(every(10s, 2s));
  schedule.restart(0s);
  schedule.asked(2s);
  schedule.heard(11s);  // still talking when the question is due at 12 s
  EXPECT_EQ(schedule.wait(12s), 1s);
  schedule.heard(12900ms);
  EXPECT_EQ(schedule.wait(13s), 1900ms);
  EXPECT_EQ(schedule.wait(14900ms), 0s);
}

TEST(PollSchedule, DoesNotMakeUpForWhatIsLate) {
  PollSchedule schedule(every(10s, 0s));
  schedule.restart(0s);
  EXPECT_EQ(schedule.wait(95s), 0s);  // nine intervals late
  schedule.asked(95s);
  EXPECT_EQ(schedule.wait(95s), 10s);
}

TEST(PollSchedule, NoSettingMakesABusyLoop) {
  PollSchedule schedule(every(0s, -5s));
  schedule.restart(0s);
  EXPECT_EQ(schedule.wait(0s), 0s);
  schedule.asked(0s);
  EXPECT_GE(schedule.wait(0s), 10ms);
}

}  // namespace
}  // namespace fadeward::port::poll_schedule_test
