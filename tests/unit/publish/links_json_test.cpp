#include "fadeward/publish/links_json.hpp"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::links_json_test {
namespace {

using namespace testing;

TEST(LinksJson, EveryLinkBothWaysWithTheKeysOfTheSnapshot) {
  const auto got = boost::json::parse(links_json(two_links()));
  EXPECT_EQ(got.at("time"), "2030-01-01T01:00:00Z");
  const auto& links = got.at("links").as_array();
  ASSERT_EQ(links.size(), 2U);
  const auto& weir = links[0];
  EXPECT_EQ(weir.at("link"), "weir");
  EXPECT_EQ(weir.at("up"), true);
  EXPECT_EQ(weir.at("last_report"), "2030-01-01T00:59:57.500Z");
  EXPECT_EQ(weir.at("expect_s"), 10);
  EXPECT_EQ(weir.at("inbound").at("margin_db"), 23.3);
  EXPECT_EQ(weir.at("outbound").at("margin_db"), 17.1);
  EXPECT_EQ(weir.at("outbound").at("expected_loss_ratio"), 0.0003);
  EXPECT_TRUE(links[1].at("outbound").at("expected_loss_ratio").is_null());
  EXPECT_EQ(weir.at("inbound").at("rolling").at("5m").at("margin_db"), 23.8);
  EXPECT_TRUE(weir.at("inbound").at("rolling").at("24h").at("margin_db").is_null());
  for (const char* key : {"reports", "window_s", "signal_dbm", "noise_dbm", "noise_source",
                          "margin_db", "margin_stderr_db", "margin_low_db", "loss_ratio",
                          "loss_source", "trend_db_per_day", "deficit_db", "cause"}) {
    EXPECT_TRUE(weir.at("inbound").as_object().contains(key)) << key;
    EXPECT_TRUE(links[1].at("outbound").as_object().contains(key)) << key;
  }
  EXPECT_TRUE(links[1].at("last_report").is_null());
  EXPECT_TRUE(links[1].at("inbound").at("margin_db").is_null());
  EXPECT_EQ(links[1].at("reports_total"), 0);
}

TEST(LinksJson, APortShowsWhatItCouldNotRead) {
  const auto got = boost::json::parse(links_json(two_links()));
  const auto& port = got.at("ports").at(0);
  EXPECT_EQ(port.at("port"), "mast");
  EXPECT_EQ(port.at("last_rejected"), "garble <b>\"x\"</b>");
  EXPECT_EQ(port.at("last_rejected_at"), "2030-01-01T00:59:00Z");
  EXPECT_EQ(port.at("discarded_bytes_total").at("checksum"), 3);
  EXPECT_EQ(port.at("rejected_total").at("syntax"), 4);
  EXPECT_TRUE(port.at("last_unmatched").is_null());
}

TEST(LinksJson, AlertsStandWithTheirOwners) {
  auto snapshot = two_links();
  auto low = alert_of(AlertName::MarginLow, 1, Severity::critical);
  low.direction = Direction::outbound;
  auto ended = alert_of(AlertName::LossHigh, 1, Severity::warning);
  ended.active = false;
  auto fault = alert_of(AlertName::PortFault, kNoLink, Severity::critical);
  fault.port = 0;
  snapshot.alerts = {low, ended, fault};
  const auto got = boost::json::parse(links_json(snapshot));
  EXPECT_EQ(got.at("links").at(0).at("alerts").as_array().size(), 0U);
  const auto& of_ridge = got.at("links").at(1).at("alerts").as_array();
  ASSERT_EQ(of_ridge.size(), 1U);
  EXPECT_EQ(of_ridge[0].at("alert"), "MarginLow");
  EXPECT_EQ(of_ridge[0].at("direction"), "outbound");
  EXPECT_EQ(of_ridge[0].at("text"), low.text.c_str());
  EXPECT_EQ(got.at("ports").at(0).at("alerts").at(0).at("alert"), "PortFault");
}

TEST(LinkJson, OneLinkIsTheSameObject) {
  const auto snapshot = two_links();
  const auto one = link_json(snapshot, "weir");
  ASSERT_TRUE(one.has_value());
  auto object = boost::json::parse(*one).as_object();
  EXPECT_EQ(object.at("time"), "2030-01-01T01:00:00Z");
  object.erase("time");
  EXPECT_EQ(object, boost::json::parse(links_json(snapshot)).at("links").at(0));
  EXPECT_FALSE(link_json(snapshot, "wei").has_value());
  EXPECT_FALSE(link_json(snapshot, "").has_value());
}

}  // namespace
}  // namespace fadeward::publish::links_json_test
