#include "fadeward/prove/verdict.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace fadeward::prove::verdict_test {
namespace {

using namespace std::chrono_literals;
using testing::HasSubstr;

Tally counted(std::uint64_t sent, std::uint64_t lost_out, std::uint64_t lost_in) {
  Tally tally;
  tally.probes = sent;
  tally.trips = {sent, sent - lost_out - lost_in};
  tally.settled = true;
  DirectionTally outbound, inbound;
  outbound.sent = sent;
  outbound.delivered = sent - lost_out;
  inbound.sent = sent - lost_out;
  inbound.delivered = sent - lost_out - lost_in;
  tally.directions[static_cast<std::size_t>(Direction::outbound)] = outbound;
  tally.directions[static_cast<std::size_t>(Direction::inbound)] = inbound;
  return tally;
}

Criteria loss(double limit) {
  Criteria criteria;
  criteria.max_loss = limit;
  return criteria;
}

Outcome outcome(const Tally& tally, const Criteria& criteria) {
  return judge(tally, {}, criteria).outcome;
}

// 299 without loss show 1 % at 95 %, 298 do not; 473 with one (see binomial_test.cpp of estimate).
TEST(Verdict, PassesWhenEnoughWasSeenAndNotBefore) {
  EXPECT_EQ(outcome(counted(299, 0, 0), loss(0.01)), Outcome::passed);
  EXPECT_EQ(outcome(counted(298, 0, 0), loss(0.01)), Outcome::undecided);
  EXPECT_EQ(outcome(counted(472, 1, 0), loss(0.01)), Outcome::undecided);
  EXPECT_EQ(outcome(counted(473, 1, 0), loss(0.01)), Outcome::passed);
  EXPECT_EQ(outcome(counted(473, 1, 1), loss(0.01)), Outcome::undecided);   // inbound: 472 with one
}

TEST(Verdict, SaysHowManyItTakes) {
  const Verdict verdict = judge(counted(100, 1, 0), {}, loss(0.01));
  ASSERT_EQ(verdict.findings.size(), 2U);
  EXPECT_EQ(verdict.findings[0].criterion, "loss outbound");
  EXPECT_EQ(verdict.findings[0].frames_needed, 473U);
  EXPECT_EQ(verdict.findings[1].frames_needed, 299U);
  EXPECT_THAT(verdict.findings[0].text, HasSubstr("not enough frames"));
  EXPECT_THAT(verdict.findings[0].text, HasSubstr("473"));
}

TEST(Verdict, FailsWhenTheLossIsSurelyMore) {
  const Verdict verdict = judge(counted(200, 0, 20), {}, loss(0.05));
  EXPECT_EQ(verdict.outcome, Outcome::failed);
  EXPECT_EQ(verdict.findings[1].criterion, "loss inbound");
  EXPECT_EQ(verdict.findings[1].outcome, Outcome::failed);
  EXPECT_EQ(verdict.findings[0].outcome, Outcome::passed);
  EXPECT_EQ(outcome(counted(20, 1, 0), loss(0.05)), Outcome::undecided);
}

TEST(Verdict, ADeadLinkFailsWithoutClaimingADirection) {
  Tally tally;
  tally.probes = 50;
  tally.trips = {50, 0};
  const Verdict verdict = judge(tally, {}, loss(0.01));
  EXPECT_EQ(verdict.outcome, Outcome::failed);
  ASSERT_EQ(verdict.findings.size(), 1U);
  EXPECT_THAT(verdict.findings[0].text, HasSubstr("which one is not known"));
  tally.trips = {0, 0};
  EXPECT_EQ(outcome(tally, loss(0.01)), Outcome::undecided);
}

TEST(Verdict, ALinkThatDiesDoesNotPass) {
  Tally tally = counted(400, 0, 0);
  tally.settled = false;
  tally.untold = 3;
  tally.trips = {403, 400};
  EXPECT_EQ(outcome(tally, loss(0.01)), Outcome::undecided);
  tally.untold = 400;
  tally.trips = {800, 400};
  EXPECT_EQ(outcome(tally, loss(0.01)), Outcome::failed);
}

// 99 % within the limit, sure to 95 %: 299 round trips with none above it.
TEST(Verdict, Latency) {
  Criteria criteria;
  criteria.max_latency = 500ms;
  Tally tally = counted(299, 0, 0);
  EXPECT_EQ(outcome(tally, criteria), Outcome::passed);
  tally.later_than_limit = 1;
  EXPECT_EQ(outcome(tally, criteria), Outcome::undecided);
  tally.later_than_limit = 30;
  EXPECT_EQ(outcome(tally, criteria), Outcome::failed);
  criteria.latency_share = 0.8;
  EXPECT_EQ(outcome(tally, criteria), Outcome::passed);
}

// One-sided 95 %: 1.645 standard errors (normal table).
TEST(Verdict, Margin) {
  Criteria criteria;
  criteria.min_margin_db = 10;
  MeasuredMargins margins;
  const auto both = [&](double margin_db, double stderr_db) {
    for (MeasuredMargin& margin : margins) margin = {margin_db, stderr_db, {}, {}, 40};
    return judge(counted(1, 0, 0), margins, criteria).outcome;
  };
  EXPECT_EQ(both(11.65, 1), Outcome::passed);
  EXPECT_EQ(both(11.64, 1), Outcome::undecided);
  EXPECT_EQ(both(8.36, 1), Outcome::undecided);
  EXPECT_EQ(both(8.35, 1), Outcome::failed);
  margins[0] = {};
  const Verdict verdict = judge(counted(1, 0, 0), margins, criteria);
  EXPECT_THAT(verdict.findings[1].text, HasSubstr("no report"));
  EXPECT_EQ(verdict.findings[1].criterion, "margin inbound");
}

TEST(Verdict, WithoutCriteriaNothingIsAccepted) {
  EXPECT_EQ(outcome(counted(5000, 0, 0), {}), Outcome::undecided);
}

TEST(Verdict, Prospect) {
  EXPECT_THAT(prospect(298, loss(0.01)), HasSubstr("too few"));
  EXPECT_THAT(prospect(299, loss(0.01)), HasSubstr("without any failure"));
  EXPECT_THAT(prospect(100, loss(0.01)), HasSubstr("299"));
  EXPECT_THAT(prospect(600, loss(0.01)), HasSubstr("up to 1 failure"));
  Criteria both = loss(0.5);
  both.max_latency = 1s;   // 99 % of them within it
  EXPECT_THAT(prospect(298, both), HasSubstr("too few to show 1 %"));
}

}  // namespace
}  // namespace fadeward::prove::verdict_test
