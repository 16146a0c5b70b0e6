#include "fadeward/publish/exposition.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdio>
#include <fstream>
#include <random>

#include "fadeward/publish/families.hpp"
#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::exposition_test {
namespace {

using namespace testing;
using ::testing::Contains;
using ::testing::IsEmpty;

TEST(Exposition, ValuesOfTheSnapshotStandUnderTheContractsNames) {
  Scene scene;
  scene.snapshot.links[0].directions[0].reserve_db = 31.5;
  const Scrape got = scene.scrape();
  EXPECT_THAT(got.wrong, IsEmpty());
  EXPECT_EQ(got.at(R"(fadeward_link_up{link="weir"})"), 1);
  EXPECT_EQ(got.at(R"(fadeward_link_signal_dbm{link="weir",direction="inbound"})"), -101.2);
  EXPECT_EQ(got.at(R"(fadeward_link_noise_dbm{link="weir",direction="inbound"})"), -117);
  EXPECT_EQ(got.at(R"(fadeward_link_margin_db{link="weir",direction="inbound"})"), 23.3);
  EXPECT_EQ(got.at(R"(fadeward_link_margin_db{link="weir",direction="outbound"})"), 17.1);
  EXPECT_EQ(got.at(R"(fadeward_link_loss_ratio{link="weir",direction="outbound"})"), 0.0008);
  EXPECT_EQ(got.at(R"(fadeward_link_trend_db_per_day{link="weir",direction="inbound"})"), -0.02);
  EXPECT_EQ(got.at(R"(fadeward_link_margin_deficit_db{link="weir",direction="inbound"})"), 1.2);
  EXPECT_EQ(got.at(R"(fadeward_link_reserve_db{link="weir",direction="inbound"})"), 31.5);
  EXPECT_FALSE(got.has(R"(fadeward_link_reserve_db{link="weir",direction="outbound"})"));
  EXPECT_EQ(got.at(R"(fadeward_link_reports_total{link="weir"})"), 1000);
  EXPECT_EQ(got.at(R"(fadeward_link_frames_lost_total{link="weir",direction="inbound"})"), 77);
  EXPECT_EQ(got.at(R"(fadeward_link_retries_total{link="weir",direction="outbound"})"), 5);
  EXPECT_EQ(got.at(R"(fadeward_link_last_report_timestamp_seconds{link="weir"})"), 1893459597.5);
  EXPECT_EQ(got.at(R"(fadeward_port_discarded_bytes_total{port="mast",reason="checksum"})"), 3);
  EXPECT_EQ(got.at(R"(fadeward_reports_rejected_total{port="mast",reason="implausible"})"), 1);
  EXPECT_EQ(got.at(R"(fadeward_reports_unmatched_total{port="mast"})"), 2);
  EXPECT_EQ(got.at("fadeward_clock_trusted"), 1);
  EXPECT_EQ(got.at(R"(fadeward_build_info{version="1.2.3",revision="abc",compiler="g++ 12"})"), 1);
  EXPECT_EQ(got.at(R"(fadeward_link_loss_window_ratio{link="weir",direction="inbound",window="24h"})"),
            1.0 / 3);
}

TEST(Exposition, ALinkNeverHeardHasZeroCountersAndNoGauges) {
  Scene scene;
  const Scrape got = scene.scrape();
  EXPECT_EQ(got.at(R"(fadeward_link_up{link="ridge"})"), 0);
  EXPECT_EQ(got.at(R"(fadeward_link_reports_total{link="ridge"})"), 0);
  EXPECT_EQ(got.at(R"(fadeward_link_frames_lost_total{link="ridge",direction="outbound"})"), 0);
  for (const auto& [series, sample] : got.samples) {
    if (series.find("link=\"ridge\"") == std::string::npos || sample.type == "counter") continue;
    EXPECT_TRUE(series.rfind("fadeward_link_up{", 0) == 0 ||
                series.rfind("fadeward_alert_", 0) == 0)
        << series;
  }
}

TEST(Exposition, GaugesVanishWithSilenceWhileCountersAndAlertsStay) {
  Scene scene;
  scene.snapshot.alerts = {alert_of(AlertName::LinkSilent, 0, Severity::warning)};
  const Scrape before = scene.scrape();
  scene.snapshot.links[0].up = false;   // the values are still there: the writer must not show them
  const Scrape after = scene.scrape();
  for (const auto& [series, sample] : before.samples) {
    const bool of_link = series.find("link=\"weir\"") != std::string::npos;
    const bool stays = !of_link || sample.type == "counter" ||
                       series.rfind("fadeward_link_up{", 0) == 0 ||
                       series.rfind("fadeward_link_info{", 0) == 0 ||
                       series.rfind("fadeward_alert_", 0) == 0;
    EXPECT_EQ(after.has(series), stays) << series;
  }
  EXPECT_EQ(after.at(R"(fadeward_alert_active{link="weir",alert="LinkSilent"})"), 1);
}

TEST(Exposition, WhatIsNotKnownOrNotFiniteIsAbsent) {
  Scene scene;
  auto& inbound = scene.snapshot.links[0].directions[0];
  inbound.margin_db.reset();
  inbound.signal_dbm = std::nan("");
  inbound.loss_ratio = HUGE_VAL;
  const std::string text = scene.text();
  const Scrape got(text);
  EXPECT_FALSE(got.has(R"(fadeward_link_margin_db{link="weir",direction="inbound"})"));
  EXPECT_FALSE(got.has(R"(fadeward_link_signal_dbm{link="weir",direction="inbound"})"));
  EXPECT_FALSE(got.has(R"(fadeward_link_loss_ratio{link="weir",direction="inbound"})"));
  EXPECT_TRUE(got.has(R"(fadeward_link_signal_dbm{link="weir",direction="outbound"})"));
  EXPECT_EQ(text.find("nan"), std::string::npos);
  EXPECT_EQ(text.find("inf "), std::string::npos);
}

TEST(Exposition, EveryAlertOfEveryLinkIsZeroFromTheStart) {
  Scene scene;
  const Scrape got = scene.scrape();
  for (const std::string link : {"weir", "ridge"}) {
    for (std::size_t i = 0; i < kAlertNames; ++i) {
      const auto alert = static_cast<AlertName>(i);
      const std::string tail = ",alert=\"" + std::string(name_of(alert)) + "\"}";
      const auto series = [&](const std::string& family, const std::string& direction) {
        return family + "{link=\"" + link + "\"" + direction + tail;
      };
      const auto scope = judge::scope_of(alert);
      for (const std::string family : {"fadeward_alert_active", "fadeward_alert_severity"}) {
        const bool plain = scope == judge::AlertScope::link;
        EXPECT_EQ(got.has(series(family, "")), plain) << link << tail;
        if (scope != judge::AlertScope::direction) continue;
        EXPECT_EQ(got.at(series(family, ",direction=\"inbound\"")), 0) << link << tail;
        EXPECT_EQ(got.at(series(family, ",direction=\"outbound\"")), 0) << link << tail;
      }
    }
  }
  EXPECT_EQ(got.at(R"(fadeward_alert_active{port="mast",alert="PortFault"})"), 0);
  EXPECT_EQ(got.types.count("fadeward_alert_cause"), 0U);
}

TEST(Exposition, AnActiveAlertShowsSeverityAndCauseAndGoesBackToZero) {
  Scene scene;
  auto margin = alert_of(AlertName::MarginLow, 0, Severity::critical);
  margin.direction = Direction::outbound;
  margin.cause = Cause::near_noise;
  auto port = alert_of(AlertName::PortFault, kNoLink, Severity::critical);
  port.port = 0;
  port.cause = Cause::port;
  scene.snapshot.alerts = {margin, port};
  const Scrape raised = scene.scrape();
  const std::string outbound = R"({link="weir",direction="outbound",alert="MarginLow"})";
  EXPECT_EQ(raised.at("fadeward_alert_active" + outbound), 1);
  EXPECT_EQ(raised.at("fadeward_alert_severity" + outbound), 3);
  EXPECT_EQ(raised.at(R"(fadeward_alert_active{link="weir",direction="inbound",alert="MarginLow"})"), 0);
  EXPECT_EQ(raised.at(R"(fadeward_alert_cause{link="weir",direction="outbound",alert="MarginLow",cause="near-noise"})"), 1);
  EXPECT_EQ(raised.at(R"(fadeward_alert_severity{port="mast",alert="PortFault"})"), 3);
  EXPECT_EQ(raised.at(R"(fadeward_alert_cause{port="mast",alert="PortFault",cause="port"})"), 1);

  for (auto& alert : scene.snapshot.alerts) {
    alert.active = false;
    alert.ended = kNow;
  }
  const Scrape cleared = scene.scrape();
  EXPECT_EQ(cleared.at("fadeward_alert_active" + outbound), 0);
  EXPECT_EQ(cleared.at("fadeward_alert_severity" + outbound), 0);
  EXPECT_EQ(cleared.types.count("fadeward_alert_cause"), 0U);
}

TEST(Exposition, AnUnusualAlertSeriesStaysForLifeAndFollowsItsLink) {
  Scene scene;
  auto odd = alert_of(AlertName::HopUneven, 0, Severity::warning);
  odd.direction = Direction::inbound;
  scene.snapshot.alerts = {odd};
  const std::string series = R"(fadeward_alert_active{link="weir",direction="inbound",alert="HopUneven"})";
  EXPECT_EQ(scene.scrape().at(series), 1);
  scene.snapshot.alerts.clear();
  EXPECT_EQ(scene.scrape().at(series), 0);
  std::swap(scene.snapshot.links[0], scene.snapshot.links[1]);   // a reload changed the order
  EXPECT_EQ(scene.scrape().at(series), 0);
  EXPECT_FALSE(scene.scrape().has(R"(fadeward_alert_active{link="ridge",direction="inbound",alert="HopUneven"})"));
}

TEST(Exposition, HopChannelsHaveSeriesOnlyWhereTheSnapshotHasThem) {
  Scene scene;
  const Scrape without = scene.scrape();
  for (const std::string& family : without.families)
    EXPECT_EQ(family.find("_channel_"), std::string::npos) << family;

  auto& weir = scene.snapshot.links[0];
  weir.directions[0].channels = {{2, 9, -97.25, -116}, {903.9e6, 1, -98.5, {}}};
  const Scrape with = scene.scrape(Format::openmetrics);
  EXPECT_THAT(with.wrong, IsEmpty());
  const auto series = [](const std::string& family, const std::string& channel) {
    return family + R"({link="weir",direction="inbound",channel=")" + channel + "\"}";
  };
  EXPECT_EQ(with.at(series("fadeward_link_channel_signal_dbm", "2")), -97.25);
  EXPECT_EQ(with.at(series("fadeward_link_channel_noise_dbm", "2")), -116);
  EXPECT_EQ(with.at(series("fadeward_link_channel_window_frames", "2")), 9);
  EXPECT_EQ(with.at(series("fadeward_link_channel_signal_dbm", "903900000")), -98.5);
  EXPECT_FALSE(with.has(series("fadeward_link_channel_noise_dbm", "903900000"))) << "not known";

  weir.up = false;
  EXPECT_FALSE(scene.scrape().has(series("fadeward_link_channel_signal_dbm", "2"))) << "a gauge like the others";
}

TEST(Exposition, ALinkTellsItsPortOnceItIsKnown) {
  Scene scene;
  const Scrape got = scene.scrape();
  EXPECT_EQ(got.at(R"(fadeward_link_info{link="weir",port="mast"})"), 1);
  for (const auto& [series, sample] : got.samples)
    EXPECT_FALSE(series.starts_with("fadeward_link_info{link=\"ridge\"")) << series;
}

// Prometheus text format: \\, \" and \n in label values; UTF-8 throughout.
TEST(Exposition, LabelValuesAreEscaped) {
  Scene scene;
  scene.snapshot.links[0].name = "a\"b\\c\nd";
  scene.snapshot.links[1].name = "m\xc3\xbchle \xff";
  const Scrape got = scene.scrape();
  EXPECT_THAT(got.wrong, IsEmpty());
  EXPECT_EQ(got.at(R"(fadeward_link_up{link="a\"b\\c\nd"})"), 1);
  EXPECT_EQ(got.at("fadeward_link_up{link=\"m\xc3\xbchle \xef\xbf\xbd\"}"), 0);
}

TEST(Exposition, NamesOfAnyLengthComeOutWhole) {
  Scene scene;
  for (const std::size_t length : {1U, 31U, 32U, 33U, 64U, 1000U, 100000U}) {
    scene.snapshot.links[0].name = std::string(length, 'x');
    const Scrape got = scene.scrape();
    EXPECT_THAT(got.wrong, IsEmpty()) << length;
    EXPECT_EQ(got.at("fadeward_link_up{link=\"" + scene.snapshot.links[0].name + "\"}"), 1);
  }
}

TEST(Exposition, PiecesMakeTheSameTextAsTheWhole) {
  Scene scene;
  for (int i = 0; i < 300; ++i) scene.snapshot.links.push_back(known_link("x" + std::to_string(i)));
  const std::string whole = scene.text();
  std::string joined;
  std::size_t pieces = 0;
  scene.exposition.write({scene.snapshot, scene.program, scene.process, scene.http, scene.build},
                         Format::prometheus_text, [&](std::string_view piece) {
                           joined += piece;
                           ++pieces;
                         });
  EXPECT_EQ(joined, whole);
  EXPECT_GT(pieces, 10U);
  EXPECT_EQ(scene.text(), whole);   // and again the same: stable order
}

// The text of alert families is kept between scrapes.
TEST(Exposition, KeptAlertsFollowEveryChange) {
  Scene scene;
  const std::string series = R"(fadeward_alert_severity{link="weir",alert="LinkSilent"})";
  const auto expect = [&](double severity, const std::string& what) {
    for (const Format format : {Format::prometheus_text, Format::openmetrics, Format::prometheus_text}) {
      const Scrape kept = scene.scrape(format);
      EXPECT_THAT(kept.wrong, IsEmpty()) << what;
      EXPECT_EQ(kept.at(series), severity) << what;
    }
  };
  expect(0, "none");
  scene.snapshot.alerts = {alert_of(AlertName::LinkSilent, 0, Severity::warning)};
  EXPECT_EQ(scene.scrape().at(series), 2) << "raised";
  scene.snapshot.alerts[0].severity = Severity::critical;
  EXPECT_EQ(scene.scrape().at(series), 3) << "changed";
  scene.snapshot.alerts[0].link = 1;
  EXPECT_EQ(scene.scrape().at(series), 0) << "another link's";
  scene.snapshot.alerts[0].link = 0;
  expect(3, "in every format");
  std::swap(scene.snapshot.links[0], scene.snapshot.links[1]);
  EXPECT_EQ(scene.scrape().at(series), 0) << "the order of links has changed";
  scene.snapshot.links[1].name = "sluice";
  EXPECT_FALSE(scene.scrape().has(series)) << "renamed";
  scene.snapshot.alerts.clear();
  EXPECT_EQ(scene.scrape().at(R"(fadeward_alert_severity{link="ridge",alert="LinkSilent"})"), 0) << "over";
}

TEST(Exposition, NumbersReadBackExactly) {
  const unsigned seed = 20300101;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937_64 random(seed);
  Scene scene;
  auto& value = scene.snapshot.links[0].directions[0].margin_db;
  auto& counter = scene.snapshot.links[0].reports_total;
  for (int i = 0; i < 300; ++i) {
    value = std::ldexp(std::uniform_real_distribution<double>(-1, 1)(random), i % 120 - 60);
    if (i % 3 == 0) value = std::round(*value * 4) / 4;
    counter = random() >> (i % 64);
    const std::string text = scene.text();
    const Scrape got(text);
    EXPECT_EQ(got.at(R"(fadeward_link_margin_db{link="weir",direction="inbound"})"), *value);
    EXPECT_NE(
        text.find("fadeward_link_reports_total{link=\"weir\"} " + std::to_string(counter) + "\n"),
        std::string::npos);
  }
}

// OpenMetrics 1.0: "# EOF" at the end; counter family without _total, samples with it; info family
// without _info; UNIT is the ending of the name; TYPE, UNIT, HELP before the samples.
TEST(Exposition, OpenMetricsFollowsItsRules) {
  Scene scene;
  scene.program.push_dropped = {{"http://am:9093", "refused", 0}};
  const std::string text = scene.text(Format::openmetrics);
  const Scrape got(text);
  EXPECT_THAT(got.wrong, IsEmpty());
  EXPECT_TRUE(got.ended);
  EXPECT_TRUE(text.ends_with("\n# EOF\n"));
  EXPECT_EQ(text.find("\n\n"), std::string::npos);
  EXPECT_EQ(text.find("  "), std::string::npos);
  EXPECT_EQ(got.types.at("fadeward_link_reports"), "counter");
  EXPECT_EQ(got.types.at("fadeward_build"), "info");
  for (const auto& [name, unit] : got.units) EXPECT_TRUE(name.ends_with("_" + unit)) << name;
  for (const auto& [series, sample] : got.samples) {
    const std::string name = series.substr(0, series.find('{'));
    const std::string suffix =
        sample.type == "counter" ? "_total" : sample.type == "info" ? "_info" : "";
    EXPECT_EQ(name, sample.family + suffix);
    EXPECT_FALSE(got.helps.at(sample.family).empty());
  }
  const Scrape plain = scene.scrape();
  EXPECT_EQ(plain.samples.size(), got.samples.size());
  for (const auto& [series, sample] : plain.samples)
    EXPECT_EQ(got.at(series), sample.value) << series;
}

TEST(Exposition, FamiliesFollowOneAnotherAsListed) {
  Scene scene;
  std::vector<std::string> listed;
  const Scrape got = scene.scrape();
  for (const Family& family : families()) {
    if (got.types.count(std::string(family.name)) == 1) listed.emplace_back(family.name);
  }
  EXPECT_EQ(got.families, listed);
  EXPECT_GT(listed.size(), 50U);
}

TEST(Exposition, BeforeTheFirstSnapshotTheProgramSpeaksForItself) {
  Scene scene;
  scene.snapshot = {};
  scene.process = {};
  const Scrape got = scene.scrape();
  EXPECT_THAT(got.wrong, IsEmpty());
  EXPECT_EQ(got.at("fadeward_history_write_errors_total"), 0);
  EXPECT_EQ(got.at("fadeward_config_last_reload_successful"), 1);
  EXPECT_FALSE(got.has("process_cpu_seconds_total"));
  EXPECT_EQ(got.types.count("fadeward_snapshot_timestamp_seconds"), 0U);
}

TEST(Exposition, ExternalReviewerFindsNothing) {
  if (std::system("command -v promtool >/dev/null 2>&1") != 0) GTEST_SKIP() << "no promtool here";
  Scene scene;
  scene.program.push_dropped = {{"http://am:9093", "refused", 3}};
  scene.program.started = kNow;
  scene.program.config_last_reload = kNow;
  scene.snapshot.alerts = {alert_of(AlertName::LossHigh, 0, Severity::warning)};
  scene.snapshot.links[0].name = "a\"b\\c\nd";
  const std::string file = ::testing::TempDir() + "fadeward_metrics_" + std::to_string(getpid());
  std::ofstream(file) << scene.text();
  const int result = std::system(("promtool check metrics <" + file + " >&2").c_str());
  std::remove(file.c_str());
  EXPECT_EQ(result, 0);   // 3: lint findings, 1: not parsed
}

}  // namespace
}  // namespace fadeward::publish::exposition_test
