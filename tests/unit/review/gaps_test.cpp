#include "fadeward/review/gaps.hpp"

#include <gtest/gtest.h>

namespace fadeward::review::gaps_test {
namespace {

using namespace std::chrono_literals;
using history::MarkKind;

constexpr Time at(int hour) { return Time{std::chrono::hours{500000 + hour}}; }
history::MarkRecord mark(int hour, MarkKind kind, std::string port = {}) {
  return {at(hour), kind, std::move(port), {}};
}
Slot heard(int hour) { return {at(hour), 1h, 10, 0, true, false}; }

std::vector<Gap> gaps(const std::vector<history::MarkRecord>& marks, const Evidence& evidence,
                      const std::vector<Slot>& slots, Time from, Time to) {
  const std::vector<Slot>* both[] = {&slots};
  return gaps_of(marks, evidence, both, from, to);
}

TEST(Gaps, BetweenAStopAndAStart) {
  const auto found =
      gaps({mark(0, MarkKind::started), mark(5, MarkKind::stopped), mark(9, MarkKind::started)}, {},
           {}, at(0), at(20));
  EXPECT_EQ(found, (std::vector<Gap>{{at(5), at(9), ""}}));
}

// A power cut leaves no mark: the last that was written is the last that is known.
TEST(Gaps, AStartWithoutAStopReachesBackToTheLastEvidence) {
  const auto found = gaps({mark(0, MarkKind::started), mark(9, MarkKind::started)},
                          {at(1), at(4), at(7), at(12)}, {}, at(0), at(20));
  EXPECT_EQ(found, (std::vector<Gap>{{at(7), at(9), ""}}));
}

TEST(Gaps, WhatWasHeardIsEvidenceToo) {
  const auto found = gaps({mark(0, MarkKind::started), mark(9, MarkKind::started)}, {at(1)},
                          {heard(2), heard(3), heard(9)}, at(0), at(20));
  EXPECT_EQ(found, (std::vector<Gap>{{at(4), at(9), ""}}));
}

TEST(Gaps, AStopAtTheEndLastsToTheEnd) {
  EXPECT_EQ(gaps({mark(15, MarkKind::stopped)}, {}, {}, at(0), at(20)),
            (std::vector<Gap>{{at(15), at(20), ""}}));
}

TEST(Gaps, APortOfAnotherLinkDoesNotCount) {
  const std::vector<history::MarkRecord> marks = {
      mark(2, MarkKind::port_down, "mast"), mark(6, MarkKind::port_up, "mast"),
      mark(10, MarkKind::port_down, "shed"), mark(14, MarkKind::port_up, "shed"),
      mark(18, MarkKind::port_down, "mast")};
  // Heard at 11 and 12: the shed is not its port.
  const auto found =
      gaps(marks, {}, {heard(0), heard(1), heard(8), heard(11), heard(12)}, at(0), at(20));
  EXPECT_EQ(found, (std::vector<Gap>{{at(2), at(6), "mast"}, {at(18), at(20), "mast"}}));
}

TEST(Gaps, WithoutMarksThereIsNone) {
  EXPECT_TRUE(gaps({}, {at(3)}, {heard(1)}, at(0), at(20)).empty());
}

}  // namespace
}  // namespace fadeward::review::gaps_test
