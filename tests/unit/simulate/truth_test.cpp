#include "fadeward/simulate/truth.hpp"

#include <gtest/gtest.h>

#include "strict_json.hpp"

namespace fadeward::simulate::truth_test {
namespace {

const Time kEnd{std::chrono::seconds(1932771600)};

TEST(TruthHour, GivesMediansOverAllFramesAndStartsAnew) {
  TruthHour hour;
  // Margins 0, 1, ..., 100 in a scrambled order: median 50, level exceeded by 99 % of them 1.
  for (int i = 0; i <= 100; ++i) {
    const double margin_db = (i * 37) % 101;
    hour.add({margin_db - 110, -102.5, margin_db, i % 4 != 0});
  }
  std::string out;
  hour.close(out, kEnd, "\"L1\"", Direction::outbound);
  EXPECT_EQ(out, R"({"kind":"truth","time":1932771600,"link":"L1","direction":"outbound",)"
                 R"("margin_db":50,"margin_low_db":1,"signal_dbm":-60,"noise_dbm":-102.5,)"
                 R"("frames":101,"lost":26,"loss_ratio":0.257426})"
                 "\n");

  out.clear();
  hour.close(out, kEnd, "\"L1\"", Direction::inbound);
  EXPECT_EQ(out, R"({"kind":"truth","time":1932771600,"link":"L1","direction":"inbound",)"
                 R"("margin_db":null,"margin_low_db":null,"signal_dbm":null,"noise_dbm":null,)"
                 R"("frames":0,"lost":0,"loss_ratio":null})"
                 "\n");
}

TEST(TruthHour, AnEvenNumberHasItsMedianBetweenTheMiddleTwo) {
  TruthHour hour;
  for (const double margin_db : {4.0, 1.0, 3.0, 2.0}) hour.add({0, 0, margin_db, true});
  std::string out;
  hour.close(out, kEnd, "\"L1\"", Direction::inbound);
  EXPECT_EQ(strict_json::parse(out.substr(0, out.size() - 1)).num("margin_db"), 2.5);
}

TEST(Truth, TellsFaultsOutagesSettingsAndRainInOrderOfTime) {
  using std::chrono::hours;
  const Time start{std::chrono::seconds(1932768000)};
  Plan plan;
  plan.start = start;
  plan.length = hours(24);
  LinkPlan link;
  link.name = "weir";
  Fault drift;
  drift.cause = Cause::far_transmit;
  drift.shape = Shape::drift;
  drift.from = start + hours(5);
  drift.size = 3;
  drift.ramp = hours(2);
  Fault collisions;
  collisions.cause = Cause::collisions;
  collisions.from = start + hours(1);
  collisions.until = start + hours(2);
  collisions.size = 0.05;
  link.faults = {drift, collisions};
  link.outages = {{Cause::restart, start + hours(4), start + hours(4), false, true}};
  link.power_steps = {{start + hours(3), -6, 0}};
  plan.links = {link};
  plan.showers = {{start + hours(2), start + hours(6), 1.5}};

  const auto lines = story_lines(plan);
  ASSERT_EQ(lines.size(), 5U);
  EXPECT_EQ(lines[0].second,
            R"({"kind":"change","time":1932771600,"link":"weir","cause":"collisions",)"
            R"("direction":"inbound","shape":"step","size_db":null,"size_ratio":0.05,)"
            R"("until":1932775200})");
  EXPECT_EQ(lines[1].second,
            R"({"kind":"weather","time":1932775200,"until":1932789600,"peak_db":1.5})");
  EXPECT_EQ(lines[2].second,
            R"({"kind":"setting","time":1932778800,"link":"weir","near_power_change_db":-6,)"
            R"("far_power_change_db":0})");
  EXPECT_EQ(lines[3].second,
            R"({"kind":"change","time":1932782400,"link":"weir","cause":"restart",)"
            R"("direction":null,"shape":"step","size_db":null,"until":1932782400,)"
            R"("near_restarts":false,"far_restarts":true})");
  EXPECT_EQ(lines[4].second,
            R"({"kind":"change","time":1932786000,"link":"weir","cause":"far-transmit",)"
            R"("direction":"inbound","shape":"drift","size_db":3,"until":null,)"
            R"("full_at":1932793200})");
}

}  // namespace
}  // namespace fadeward::simulate::truth_test
