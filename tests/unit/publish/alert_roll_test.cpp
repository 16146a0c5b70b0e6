#include "fadeward/publish/alert_roll.hpp"

#include <gtest/gtest.h>

#include <boost/json.hpp>

#include "fadeward/publish/alerts_json.hpp"
#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::alert_roll_test {
namespace {

using namespace testing;
using boost::json::array;
using boost::json::parse;

class Roll : public ::testing::Test {
 protected:
  /// A look `later` after the first one.
  void look(Duration later) {
    snapshot.time = kNow + later;
    roll.look(snapshot, labels, 1000h + later);
  }
  array body() const { return parse(roll.body()).as_array(); }
  /// endsAt of the only alert with this severity; empty: none.
  std::string end_of(std::string_view severity) const {
    std::string out;
    for (const auto& each : body())
      if (std::string_view(each.at("labels").at("severity").as_string()) == severity)
        out = std::string(each.at("endsAt").as_string());
    return out;
  }

  judge::Snapshot snapshot = two_links();
  std::map<std::string, std::string> labels{{"gateway", "mill-house"}};
  AlertRoll roll;
};

TEST_F(Roll, SaysTheSameAsThePageOfAlerts) {
  auto alert = alert_of(AlertName::MarginLow, 0, Severity::critical);
  alert.direction = Direction::outbound;
  alert.cause = Cause::path;
  snapshot.alerts = {alert, alert_of(AlertName::RadioRestarted, 1, Severity::info)};
  look(0s);
  EXPECT_EQ(body(), parse(alerts_json(snapshot, labels)).as_array()) << "info is no alarm";
  EXPECT_EQ(roll.size(), 1U);
}

TEST_F(Roll, NothingToTellIsAnEmptyArray) {
  look(0s);
  EXPECT_TRUE(roll.empty());
  EXPECT_EQ(roll.version(), 0U);
  EXPECT_EQ(body(), array{});
}

TEST_F(Roll, AnotherSeverityEndsTheOldLabelsInTheSameRequest) {
  snapshot.alerts = {alert_of(AlertName::MarginLow, 0, Severity::warning)};
  look(0s);
  snapshot.alerts[0].severity = Severity::critical;
  look(30s);
  EXPECT_EQ(end_of("warning"), "2030-01-01T01:00:30Z");
  EXPECT_EQ(end_of("critical"), "2030-01-01T01:04:30Z");
  EXPECT_EQ(body().at(0).at("labels").at("alertname"), body().at(1).at("labels").at("alertname"));
  snapshot.alerts[0].severity = Severity::warning;   // and back: the old labels live again
  look(60s);
  EXPECT_EQ(end_of("warning"), "2030-01-01T01:05:00Z");
  EXPECT_EQ(end_of("critical"), "2030-01-01T01:01:00Z");
}

TEST_F(Roll, VersionGrowsAtChangesOnly) {
  snapshot.alerts = {alert_of(AlertName::LossHigh, 0, Severity::warning)};
  look(0s);
  const auto raised = roll.version();
  EXPECT_GT(raised, 0U);
  snapshot.alerts[0].text = "loss 12 % now";
  snapshot.alerts[0].size_db = 3;
  look(10s);
  EXPECT_EQ(roll.version(), raised) << "a value is no change";
  EXPECT_EQ(body().at(0).at("annotations").at("description"), "loss 12 % now");
  snapshot.alerts[0].cause = Cause::collisions;
  look(20s);
  EXPECT_GT(roll.version(), raised);
  EXPECT_EQ(roll.changed_since(raised), 1U);
  const auto changed = roll.version();
  snapshot.alerts[0].active = false;
  snapshot.alerts[0].ended = kNow + 25s;
  look(30s);
  EXPECT_GT(roll.version(), changed);
  EXPECT_EQ(end_of("warning"), "2030-01-01T01:00:25Z");
}

TEST_F(Roll, EndsAreToldForAQuarterOfAnHour) {
  snapshot.alerts = {alert_of(AlertName::LossHigh, 0, Severity::warning)};
  look(0s);
  snapshot.alerts[0].active = false;
  snapshot.alerts[0].ended = kNow + 10s;
  look(10s);
  const auto ended = roll.version();
  look(14min);
  EXPECT_EQ(roll.size(), 1U);
  EXPECT_EQ(end_of("warning"), "2030-01-01T01:00:10Z") << "the same each time";
  snapshot.alerts.clear();   // the judge forgets
  look(15min + 10s);
  EXPECT_TRUE(roll.empty());
  EXPECT_EQ(roll.forgotten(), std::vector<std::uint64_t>{ended});
  look(15min + 11s);
  EXPECT_TRUE(roll.forgotten().empty());
}

TEST_F(Roll, BeginsAfterARestartWithWhatEndedMeanwhile) {
  snapshot.alerts = {alert_of(AlertName::LossHigh, 0, Severity::warning)};
  snapshot.alerts[0].active = false;
  snapshot.alerts[0].ended = kNow - 5min;
  look(0s);
  EXPECT_EQ(end_of("warning"), "2030-01-01T00:55:00Z");
  EXPECT_EQ(roll.version(), 1U);
}

TEST_F(Roll, ALinkThatIsGoneAndOtherExternalLabelsEndTheirAlerts) {
  snapshot.alerts = {alert_of(AlertName::LossHigh, 1, Severity::warning)};
  look(0s);
  labels = {{"gateway", "mill-annexe"}};
  look(10s);
  ASSERT_EQ(body().size(), 2U);
  int ended = 0;
  for (const auto& each : body()) {
    const bool old = each.at("labels").at("gateway") == "mill-house";
    EXPECT_EQ(each.at("endsAt"), old ? "2030-01-01T01:00:10Z" : "2030-01-01T01:04:10Z");
    ended += old;
  }
  EXPECT_EQ(ended, 1);
  snapshot.alerts.clear();
  snapshot.links.pop_back();
  look(20s);
  for (const auto& each : body()) EXPECT_LE(each.at("endsAt").as_string(), "2030-01-01T01:00:20Z");
}

// Without times an Alertmanager takes its own: now, and now plus its resolve_timeout (measured with
// 0.25).
TEST_F(Roll, WithoutAClockAlertsGoWithoutTimesAndEndsWait) {
  auto ended = alert_of(AlertName::LossHigh, 1, Severity::warning);
  ended.active = false;
  ended.ended = kNow - 1min;
  snapshot.alerts = {alert_of(AlertName::MarginLow, 0, Severity::critical), ended};
  snapshot.clock_trusted = false;
  look(0s);
  ASSERT_EQ(body().size(), 1U);
  EXPECT_FALSE(body().at(0).as_object().contains("startsAt"));
  EXPECT_FALSE(body().at(0).as_object().contains("endsAt"));
  snapshot.clock_trusted = true;
  look(10s);
  EXPECT_EQ(body().size(), 2U);
}

TEST_F(Roll, AClockThatWasSetBackLeavesNoTimeAhead) {
  snapshot.alerts = {alert_of(AlertName::MarginLow, 0, Severity::critical)};
  snapshot.alerts[0].since = kNow + 2h;
  look(0s);
  EXPECT_EQ(body().at(0).at("startsAt"), "2030-01-01T01:00:00Z");
  snapshot.alerts[0].active = false;
  snapshot.alerts[0].ended = kNow + 3h;
  look(10s);
  EXPECT_EQ(body().at(0).at("startsAt"), "2030-01-01T01:00:10Z");
  EXPECT_EQ(body().at(0).at("endsAt"), "2030-01-01T01:00:10Z");
}

}  // namespace
}  // namespace fadeward::publish::alert_roll_test
