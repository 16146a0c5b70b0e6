#include "fadeward/publish/alerts_json.hpp"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::alerts_json_test {
namespace {

using namespace testing;
using boost::json::object;
using boost::json::parse;

// Alertmanager API v2, postableAlert: labels and annotations are objects of strings, times RFC
// 3339.
TEST(AlertsJson, AnActiveAlertAnnouncesItselfAhead) {
  auto snapshot = two_links();
  auto alert = alert_of(AlertName::InterferenceSuspected, 0, Severity::warning);
  alert.direction = Direction::inbound;
  alert.cause = Cause::near_noise;
  alert.size_db = 4.8;
  alert.confidence = 0.97;
  alert.stale = true;
  snapshot.alerts = {alert};
  const auto got = parse(alerts_json(snapshot, {{"gateway", "mill-house"}}));
  ASSERT_EQ(got.as_array().size(), 1U);
  EXPECT_EQ(got.at(0).at("labels"),
            (object{{"alertname", "InterferenceSuspected"}, {"link", "weir"},
                    {"direction", "inbound"}, {"severity", "warning"}, {"gateway", "mill-house"}}));
  const auto& notes = got.at(0).at("annotations").as_object();
  EXPECT_TRUE(std::string(notes.at("summary").as_string()).ends_with('.'));
  EXPECT_EQ(notes.at("description"), alert.text.c_str());
  EXPECT_EQ(notes.at("cause"), "near-noise");
  EXPECT_EQ(notes.at("stale"), "true");
  for (const auto& note : notes) EXPECT_TRUE(note.value().is_string()) << note.key();
  EXPECT_EQ(got.at(0).at("startsAt"), "2030-01-01T00:50:00Z");
  EXPECT_EQ(got.at(0).at("endsAt"), "2030-01-01T01:04:00Z");
}

TEST(AlertsJson, ValuesAreNotPartOfTheIdentity) {
  auto snapshot = two_links();
  snapshot.alerts = {alert_of(AlertName::MarginLow, 0, Severity::critical)};
  const auto before = parse(alerts_json(snapshot, {}));
  snapshot.alerts[0].text = "margin 3.9 dB";
  snapshot.alerts[0].cause = Cause::path;
  snapshot.time += 1min;
  const auto after = parse(alerts_json(snapshot, {}));
  EXPECT_EQ(before.at(0).at("labels"), after.at(0).at("labels"));
  EXPECT_EQ(before.at(0).at("annotations").at("summary"),
            after.at(0).at("annotations").at("summary"));
}

TEST(AlertsJson, AnEndedOneResolvesAndTimesNeverRunBackwards) {
  auto snapshot = two_links();
  auto ended = alert_of(AlertName::LossHigh, 0, Severity::warning);
  ended.active = false;
  ended.ended = kNow - 1min;
  auto stepped = alert_of(AlertName::LinkSilent, 1, Severity::warning);
  stepped.since = kNow + 24h;   // the clock went back a day since
  snapshot.alerts = {ended, stepped};
  const auto got = parse(alerts_json(snapshot, {}));
  EXPECT_EQ(got.at(0).at("endsAt"), "2030-01-01T00:59:00Z");
  EXPECT_EQ(got.at(1).at("startsAt"), got.at(1).at("endsAt"));
}

TEST(AlertsJson, InfoStaysInTheLogbookAndPortsHaveNoLink) {
  auto snapshot = two_links();
  auto fault = alert_of(AlertName::PortFault, kNoLink, Severity::critical);
  fault.port = 0;
  snapshot.alerts = {alert_of(AlertName::RadioRestarted, 0, Severity::info), fault};
  const auto got = parse(alerts_json(snapshot, {}));
  ASSERT_EQ(got.as_array().size(), 1U);
  EXPECT_EQ(got.at(0).at("labels"),
            (object{{"alertname", "PortFault"}, {"port", "mast"}, {"severity", "critical"}}));
}

TEST(AlertsJson, ExternalLabelsMayNotDisguiseAnAlert) {
  auto snapshot = two_links();
  snapshot.alerts = {alert_of(AlertName::MarginLow, 0, Severity::critical)};
  const auto got = parse(alerts_json(snapshot, {{"severity", "info"},
                                                {"direction", "up"},
                                                {"not a name", "x"},
                                                {"9x", "x"},
                                                {"empty", ""}}));
  EXPECT_EQ(got.at(0).at("labels"),
            (object{{"alertname", "MarginLow"}, {"link", "weir"}, {"severity", "critical"}}));
}

TEST(AlertsJson, NoAlertIsAnEmptyArray) {
  EXPECT_EQ(parse(alerts_json(two_links(), {})), boost::json::array());
}

TEST(AlertsJson, EverySummaryIsASentenceOfItsOwn) {
  std::map<std::string_view, int> seen;
  for (std::size_t i = 0; i < kAlertNames; ++i) {
    const auto summary = summary_of(static_cast<AlertName>(i));
    EXPECT_TRUE(summary.ends_with('.'));
    EXPECT_EQ(++seen[summary], 1) << summary;
  }
}

}  // namespace
}  // namespace fadeward::publish::alerts_json_test
