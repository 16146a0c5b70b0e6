#include "fadeward/judge/supervisor.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

namespace fadeward::judge::supervisor_test {
namespace {

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

/// Moves time by hand and feeds one link as a radio would.
class Bench {
 public:
  explicit Bench(Settings settings = one_link(), SupervisorOptions options = {})
      : settings_(std::move(settings)), supervisor(settings_, now, options) {}

  static Settings one_link() {
    Settings settings;
    settings.ports.resize(1);
    settings.ports[0].name = "mast";
    settings.links.resize(1);
    LinkSettings& link = settings.links[0];
    link.name = "weir";
    link.expect = Duration{10s};
    link.radio.modulation = RadioSettings::Modulation::css;
    link.radio.spreading_factor = 7;
    link.radio.bandwidth_hz = 125000;
    link.radio.noise_figure_db = 6;
    link.budget.inbound_signal_dbm = link.budget.outbound_signal_dbm = -100;
    return settings;
  }

  void pass(Duration span) {
    now.wall += span;
    now.steady += span;
    supervisor.tick(now);
    collect();
  }
  void event(PortEvent::Kind kind, PortIndex port = 0, std::uint64_t count = 0) {
    PortEvent event;
    event.port = port;
    event.kind = kind;
    event.count = count;
    event.text = "/dev/radio";
    supervisor.note(event, now);
    collect();
  }
  LinkReport report(std::initializer_list<std::pair<Field, double>> values, std::string_view link = "weir",
                    PortIndex port = 0) const {
    LinkReport report;
    report.link = link;
    report.port = port;
    for (const auto& [field, value] : values) report.set(field, value);
    return report;
  }
  void take(const LinkReport& report) {
    supervisor.take(report, now);
    collect();
  }
  /// One frame every 10 s each way; `lost` of every hundred are missing.
  void run(Duration span, double signal_in, double signal_out, double noise = -117, int lost = 0) {
    for (Duration passed{}; passed < span; passed += 10s) {
      pass(10s);
      ++seq;
      if (static_cast<int>(seq) * 37 % 100 < lost) continue;
      const double fade = fading(random);
      take(report({{Field::seq, seq},
                   {Field::rssi_dbm, signal_in + fade},
                   {Field::noise_dbm, noise},
                   {Field::far_rssi_dbm, signal_out + fade},
                   {Field::far_noise_dbm, noise}}));
    }
  }
  void collect() {
    for (const Event& event : supervisor.events()) events.push_back(event);
    supervisor.clear_events();
  }
  int count(AlertName alert, Change change) const {
    return static_cast<int>(std::count_if(events.begin(), events.end(), [&](const Event& event) {
      return event.alert == alert && event.change == change;
    }));
  }
  const Event* find(AlertName alert, Change change) const {
    for (const Event& event : events)
      if (event.alert == alert && event.change == change) return &event;
    return nullptr;
  }
  std::vector<AlertState> alerts() const { return supervisor.snapshot(now)->alerts; }
  DirectionSnapshot direction(Direction d, LinkIndex link = 0) const {
    return supervisor.snapshot(now)->links[link].directions[static_cast<std::size_t>(d)];
  }

  Settings settings_;
  Instant now{kStart, Duration{1000s}};
  Supervisor supervisor;
  std::vector<Event> events;
  double seq = 0;
  std::mt19937 random{7};
  std::normal_distribution<double> fading{0, 1};
};

// Plain means of what was fed in: the level carries no noise here (rssi: signal).
TEST(Supervisor, HopChannelsAreDescribedOnlyWhereAskedFor) {
  for (const bool asked : {false, true}) {
    Settings settings = Bench::one_link();
    settings.links[0].radio.rssi = RadioSettings::Rssi::wanted;
    settings.metrics.channels = asked;
    Bench bench(settings);
    for (int i = 0; i < 60; ++i) {
      bench.pass(10s);
      const int channel = i % 3 == 0 ? 40 : 7;
      const double level = (channel == 7 ? -100 : -104) + (i % 2 == 0 ? 0.5 : -0.5);
      bench.take(bench.report({{Field::seq, i}, {Field::channel, channel}, {Field::rssi_dbm, level},
                               {Field::noise_dbm, channel == 7 ? -117 : -112}}));
    }
    const SnapshotPtr now = bench.supervisor.snapshot(bench.now);
    const auto& channels = now->links[0].directions[0].channels;
    EXPECT_TRUE(now->links[0].directions[1].channels.empty());
    ASSERT_EQ(channels.size(), asked ? 2U : 0U);
    if (!asked) continue;
    EXPECT_EQ(channels[0].channel, 7) << "by channel, whichever was heard first";
    EXPECT_EQ(channels[0].frames, 40U);
    EXPECT_NEAR(channels[0].signal_dbm, -100, 0.02);
    ASSERT_TRUE(channels[0].noise_dbm);
    EXPECT_NEAR(*channels[0].noise_dbm, -117, 0.02);
    EXPECT_EQ(channels[1].channel, 40);
    EXPECT_EQ(channels[1].frames, 20U);
    EXPECT_NEAR(channels[1].signal_dbm, -104, 0.02);
    EXPECT_NEAR(*channels[1].noise_dbm, -112, 0.02);
  }
}

TEST(Supervisor, ALinkHasThePortThatItIsBoundToOrWasFirstHeardOn) {
  Settings settings = Bench::one_link();
  settings.ports.resize(2);
  settings.ports[1].name = "shed";
  settings.links.push_back(settings.links[0]);
  settings.links[1].name = "ridge";
  settings.links[1].match.port = "shed";
  Bench bench(settings);
  EXPECT_EQ(bench.supervisor.snapshot(bench.now)->links[0].port, kNoPort) << "not heard yet";
  EXPECT_EQ(bench.supervisor.snapshot(bench.now)->links[1].port, 1) << "by configuration";
  bench.pass(10s);
  bench.take(bench.report({{Field::rssi_dbm, -100}, {Field::noise_dbm, -117}}, "weir", 0));
  EXPECT_EQ(bench.supervisor.snapshot(bench.now)->links[0].port, 0);
}

TEST(Supervisor, NothingIsKnownBeforeTheFirstReport) {
  Bench bench;
  const SnapshotPtr snapshot = bench.supervisor.snapshot(bench.now);
  ASSERT_EQ(snapshot->links.size(), 1U);
  EXPECT_FALSE(snapshot->links[0].up);
  EXPECT_FALSE(snapshot->links[0].directions[0].margin_db);
  EXPECT_FALSE(snapshot->links[0].directions[0].loss_ratio);
  EXPECT_TRUE(snapshot->alerts.empty());
}

// The example of the contract: -101.2 dBm over -117 dBm at spreading factor 7 leaves 23.3 dB, 1.2 dB
// under a budget of -100 dBm. (Total power in, so the noise is taken off first.)
TEST(Supervisor, MarginIsSignalLessNoiseLessWhatIsNeeded) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.fading = std::normal_distribution<double>(0, 0.001);
  const double total = 10 * std::log10(std::pow(10, -10.12) + std::pow(10, -11.7));
  bench.run(1h, total, total, -117);
  const DirectionSnapshot in = bench.direction(Direction::inbound);
  EXPECT_NEAR(*in.signal_dbm, -101.2, 0.13);
  EXPECT_NEAR(*in.noise_dbm, -117, 0.01);
  EXPECT_NEAR(*in.margin_db, 23.3, 0.13);
  EXPECT_NEAR(*in.deficit_db, 1.2, 0.15);
  EXPECT_EQ(in.noise_source, NoiseSource::idle);
  EXPECT_EQ(in.loss_source, LossSource::seq);
  EXPECT_DOUBLE_EQ(*in.loss_ratio, 0);
  EXPECT_NEAR(*bench.direction(Direction::outbound).margin_db, 23.3, 0.13);
}

// A normal margin of 3 dB about 3 dB: what lies below nothing is lost, Phi(-1) = 0.159 of all. High
// above nothing the level explains no loss at all.
TEST(Supervisor, TheLossThatTheLevelExplainsIsTold) {
  for (const double margin_db : {3.0, 25.0}) {
    Bench bench;
    bench.event(PortEvent::Kind::opened);
    std::normal_distribution<double> fade(0, 3);
    for (int i = 0; i < 24 * 360; ++i) {
      bench.pass(10s);
      ++bench.seq;
      const double margin = margin_db + fade(bench.random);
      if (margin < 0) continue;
      const double signal_dbm = -117 - 7.5 + margin;  // spreading factor 7 needs -7.5 dB
      bench.take(bench.report(
          {{Field::seq, bench.seq},
           {Field::rssi_dbm,
            10 * std::log10(std::pow(10, signal_dbm / 10) + std::pow(10, -11.7))},
           {Field::noise_dbm, -117}}));
    }
    const auto expected = bench.direction(Direction::inbound).expected_loss_ratio;
    ASSERT_TRUE(expected);
    EXPECT_NEAR(*expected, margin_db > 10 ? 0 : 0.159, margin_db > 10 ? 0.001 : 0.05);
  }
}

TEST(Supervisor, LossIsCountedPerTransmission) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(3h, -100, -100, -117, 20);
  EXPECT_NEAR(*bench.direction(Direction::inbound).loss_ratio, 0.20, 0.005);
  EXPECT_FALSE(bench.direction(Direction::outbound).loss_ratio);
  ASSERT_EQ(bench.count(AlertName::LossHigh, Change::raised), 1);
  // Far above the threshold: it is not the level that loses them, and the sentence says so.
  EXPECT_LT(*bench.direction(Direction::inbound).expected_loss_ratio, 0.001);
  const std::string& text = bench.find(AlertName::LossHigh, Change::raised)->text;
  EXPECT_NE(text.find("the level explains next to nothing"), std::string::npos) << text;
  EXPECT_EQ(text.find("The low margin explains it"), std::string::npos) << text;
}

// Rain comes slowly and is no alarm of its own; what a low margin owes to it is named all the same,
// by the table of causes: both signals lower, the noise as usual.
TEST(Supervisor, WhatCostsTheMarginIsNamedBeforeItIsTold) {
  Settings settings = Bench::one_link();
  settings.links[0].alerts.margin_db = {20.0, {}, 1.0, 15min};
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  bench.run(10h, -100, -100);
  EXPECT_TRUE(bench.events.empty());
  for (int i = 0; i < 12; ++i) bench.run(5min, -100 - 0.6 * i, -100 - 0.6 * i);
  bench.run(45min, -107, -107);
  EXPECT_EQ(bench.count(AlertName::FadingSuspected, Change::raised), 0);
  ASSERT_EQ(bench.count(AlertName::MarginLow, Change::raised), 2);
  for (const Event& event : bench.events) {
    EXPECT_EQ(event.cause, Cause::path) << event.text;
    EXPECT_NEAR(event.size_db.value_or(0), 7, 2) << event.text;
    EXPECT_NE(event.text.find("dB below usual)"), std::string::npos) << event.text;
    EXPECT_NE(event.text.find("(as usual)"), std::string::npos) << "the noise: " << event.text;
  }
}

// The noise at one end rises little by little: it costs the margin of the direction that is heard
// there, and says nothing about the other.
TEST(Supervisor, TheCauseOfALowMarginBelongsToItsDirection) {
  Settings settings = Bench::one_link();
  settings.links[0].alerts.margin_db = {20.0, {}, 1.0, 15min};
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  bench.run(10h, -100, -100);
  for (int i = 0; i < 1080; ++i) {
    bench.pass(10s);
    const double fade = bench.fading(bench.random), up = std::min(8.0, i / 40.0);
    const double total = 10 * std::log10(std::pow(10, (-100 + fade) / 10) + std::pow(10, (-117 + up) / 10));
    bench.take(bench.report({{Field::seq, ++bench.seq},
                             {Field::rssi_dbm, -100 + fade},
                             {Field::noise_dbm, -117},
                             {Field::far_rssi_dbm, total},
                             {Field::far_noise_dbm, -117 + up}}));
  }
  int low = 0;
  for (const Event& event : bench.events) {
    if (event.alert != AlertName::MarginLow) continue;
    ++low;
    EXPECT_EQ(event.direction, Direction::outbound);
    EXPECT_EQ(event.cause, Cause::far_noise) << event.text;
  }
  EXPECT_EQ(low, 1);
}

TEST(Supervisor, PathFadesAndComesBack) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(6h, -100, -100);
  EXPECT_TRUE(bench.events.empty());
  bench.run(3h, -118, -118);
  EXPECT_EQ(bench.count(AlertName::MarginLow, Change::raised), 2);
  const Event* raised = bench.find(AlertName::MarginLow, Change::raised);
  ASSERT_NE(raised, nullptr);
  EXPECT_EQ(raised->cause, Cause::path);
  EXPECT_GE(raised->severity, Severity::warning);
  EXPECT_NE(raised->text.find("dB"), std::string::npos);
  bench.run(3h, -100, -100);
  EXPECT_EQ(bench.count(AlertName::MarginLow, Change::cleared), 2);
  for (const AlertState& alert : bench.alerts()) EXPECT_FALSE(alert.active);
}

TEST(Supervisor, FarTransmitterIsToldFromThePath) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(6h, -100, -100);
  bench.run(3h, -116, -100);
  const Event* raised = bench.find(AlertName::MarginLow, Change::raised);
  ASSERT_NE(raised, nullptr);
  EXPECT_EQ(raised->cause, Cause::far_transmit);
  EXPECT_EQ(raised->direction, Direction::inbound);
}

TEST(Supervisor, SilenceIsToldOnceAndNothingElseClears) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(6h, -118, -118);
  ASSERT_GE(bench.count(AlertName::MarginLow, Change::raised), 2);
  for (int i = 0; i < 2 * 24 * 60; ++i) bench.pass(1min);
  EXPECT_EQ(bench.count(AlertName::LinkSilent, Change::raised), 1);
  EXPECT_EQ(bench.count(AlertName::MarginLow, Change::cleared), 0);
  bool stale = false;
  for (const AlertState& alert : bench.alerts())
    if (alert.alert == AlertName::MarginLow) stale = stale || (alert.active && alert.stale);
  EXPECT_TRUE(stale);
  bench.run(1min, -100, -100);
  EXPECT_EQ(bench.count(AlertName::LinkSilent, Change::cleared), 1);
}

TEST(Supervisor, AnHourlyReporterIsNotSilent) {
  Settings settings = Bench::one_link();
  settings.links[0].expect.reset();
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  for (int hour = 0; hour < 72; ++hour) {
    bench.take(bench.report({{Field::seq, hour}, {Field::rssi_dbm, -100}, {Field::noise_dbm, -117}}));
    for (int i = 0; i < 60; ++i) bench.pass(1min);
  }
  EXPECT_EQ(bench.count(AlertName::LinkSilent, Change::raised), 0);
  for (int i = 0; i < 4 * 60; ++i) bench.pass(1min);
  EXPECT_EQ(bench.count(AlertName::LinkSilent, Change::raised), 1);
}

// Margin and loss describe the same frames, also where an hour holds too few.
TEST(Supervisor, FramesLostInASilenceAreNoCollisions) {
  Bench bench;
  bench.run(std::chrono::hours{24}, -100, -100);
  for (int i = 0; i < 90 * 6; ++i, ++bench.seq) bench.pass(10s);   // the site sends on, nothing is heard
  bench.run(std::chrono::minutes{40}, -100, -100);
  int told = 0;
  for (const Event& event : bench.events) {
    if (event.alert != AlertName::LossHigh || event.change == Change::cleared) continue;
    ++told;
    EXPECT_EQ(event.cause, Cause::silent) << event.text;
    EXPECT_NE(event.text.find("no report came"), std::string::npos) << event.text;
  }
  EXPECT_GT(told, 0);
}

TEST(Supervisor, LossBelongsToTheWindow) {
  Settings settings = Bench::one_link();
  settings.links[0].expect = Duration{1h};
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  for (int hour = 0; hour < 60; ++hour) {
    if (hour % 4 != 3)
      bench.take(bench.report({{Field::seq, hour}, {Field::rssi_dbm, -100}, {Field::noise_dbm, -117}}));
    for (int i = 0; i < 60; ++i) bench.pass(1min);
  }
  const DirectionSnapshot in = bench.direction(Direction::inbound);
  EXPECT_GT(in.window, Duration{30h});
  EXPECT_EQ(in.reports, 30U);
  EXPECT_NEAR(*in.loss_ratio, 0.25, 0.03);
}

TEST(Supervisor, AClosedPortIsOneFaultAndItsGapIsNotLost) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(2h, -100, -100);
  bench.event(PortEvent::Kind::closed);
  for (int i = 0; i < 60; ++i) bench.pass(1min);
  EXPECT_EQ(bench.count(AlertName::PortFault, Change::raised), 1);
  EXPECT_EQ(bench.count(AlertName::LinkSilent, Change::raised), 0);
  bench.event(PortEvent::Kind::opened);
  EXPECT_EQ(bench.count(AlertName::PortFault, Change::cleared), 1);
  bench.seq += 360;
  bench.run(10min, -100, -100);
  EXPECT_DOUBLE_EQ(*bench.direction(Direction::inbound).loss_ratio, 0);
  EXPECT_EQ(bench.direction(Direction::inbound).frames_lost_total, 0U);
}

TEST(Supervisor, APortThatNeverOpensIsAFault) {
  Bench bench;
  bench.event(PortEvent::Kind::failed);
  for (int i = 0; i < 30; ++i) bench.pass(1s);
  EXPECT_EQ(bench.count(AlertName::PortFault, Change::raised), 1);
}

TEST(Supervisor, TwoRadiosWithOneNameAreNotMixed) {
  Settings settings = Bench::one_link();
  settings.ports.resize(2);
  settings.ports[1].name = "hut";
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened, 0);
  bench.event(PortEvent::Kind::opened, 1);
  bench.take(bench.report({{Field::seq, 5}, {Field::rssi_dbm, -100}}, "weir", 0));
  bench.take(bench.report({{Field::seq, 900}, {Field::rssi_dbm, -60}}, "weir", 1));
  bench.take(bench.report({{Field::seq, 6}, {Field::rssi_dbm, -100}}, "weir", 0));
  const SnapshotPtr snapshot = bench.supervisor.snapshot(bench.now);
  EXPECT_EQ(snapshot->links[0].reports_total, 2U);
  EXPECT_EQ(snapshot->ports[1].unmatched, 1U);
  EXPECT_EQ(snapshot->links[0].restarts_total, 0U);
}

TEST(Supervisor, AClockStepChangesNoAgeAndNoAlert) {
  for (const Duration step : {Duration{-24h}, Duration{24h * 365}, Duration{-24h * 365 * 50}}) {
    Bench bench;
    bench.event(PortEvent::Kind::opened);
    bench.run(6h, -100, -100);
    bench.now.wall += step;
    bench.pass(1s);
    EXPECT_EQ(bench.supervisor.snapshot(bench.now)->clock_steps, 1U);
    bench.run(2h, -100, -100);
    EXPECT_TRUE(bench.events.empty());
    const DirectionSnapshot in = bench.direction(Direction::inbound);
    EXPECT_NEAR(static_cast<double>(in.reports), 360, 3);
    EXPECT_DOUBLE_EQ(*in.loss_ratio, 0);
  }
}

TEST(Supervisor, WildTimesOfReportsAreNotBelieved) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(1h, -100, -100);
  for (const Duration off : {Duration{-24h}, Duration{24h * 365}}) {
    LinkReport report = bench.report({{Field::seq, ++bench.seq}, {Field::rssi_dbm, -100}, {Field::noise_dbm, -117}});
    report.timed = true;
    report.time = bench.now.wall + off;
    bench.pass(10s);
    bench.take(report);
  }
  const SnapshotPtr snapshot = bench.supervisor.snapshot(bench.now);
  EXPECT_EQ(snapshot->ports[0].retimed, 2U);
  EXPECT_EQ(*snapshot->links[0].last_report, bench.now.wall);
}

TEST(Supervisor, UpkeepKeepsQuiet) {
  Settings settings = Bench::one_link();
  settings.links[0].upkeep.push_back({kStart + 6h, kStart + 9h, "mast work"});
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  bench.run(6h, -100, -100);
  bench.run(150min, -140, -140);
  EXPECT_TRUE(bench.events.empty());
  EXPECT_TRUE(bench.supervisor.snapshot(bench.now)->links[0].upkeep);
  bench.run(30min, -100, -100);
  bench.run(4h, -100, -100);
  EXPECT_EQ(bench.count(AlertName::MarginLow, Change::raised), 0);
}

TEST(Supervisor, RestartsAndSettingsGoToTheLogbook) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  for (int i = 0; i < 30; ++i) {
    bench.pass(10s);
    bench.take(bench.report({{Field::seq, 1000 + i}, {Field::rssi_dbm, -100}, {Field::uptime_s, 5000 + i * 10}, {Field::tx_power_dbm, 27}}));
  }
  for (int i = 0; i < 30; ++i) {
    bench.pass(10s);
    bench.take(bench.report({{Field::seq, i}, {Field::rssi_dbm, -100}, {Field::uptime_s, i * 10}, {Field::tx_power_dbm, 20}}));
  }
  EXPECT_EQ(bench.count(AlertName::RadioRestarted, Change::raised), 1);
  EXPECT_EQ(bench.find(AlertName::RadioRestarted, Change::raised)->severity, Severity::info);
  EXPECT_EQ(bench.count(AlertName::SettingChanged, Change::raised), 1);
  EXPECT_NE(bench.find(AlertName::SettingChanged, Change::raised)->text.find("from 27 to 20"), std::string::npos);
  for (int i = 0; i < 16; ++i) {
    bench.pass(1min);
  }
  EXPECT_EQ(bench.count(AlertName::RadioRestarted, Change::cleared), 1);
  EXPECT_EQ(bench.direction(Direction::inbound).frames_lost_total, 0U);
}

TEST(Supervisor, RetriesLatencyAndForeignFrames) {
  Settings settings = Bench::one_link();
  settings.links[0].alerts.latency_s.warning = 2;
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  for (int i = 0; i < 720; ++i) {
    bench.pass(10s);
    bench.take(bench.report({{Field::seq, i}, {Field::rssi_dbm, -100}, {Field::tx_frames, i * 2.0}, {Field::tx_retries, i}, {Field::latency_s, 3}, {Field::rx_foreign, i / 10}}));
  }
  EXPECT_EQ(bench.count(AlertName::RetriesHigh, Change::raised), 1);
  EXPECT_EQ(bench.count(AlertName::LatencyHigh, Change::raised), 1);
  EXPECT_EQ(bench.count(AlertName::ForeignFrames, Change::raised), 1);
  EXPECT_NEAR(*bench.direction(Direction::outbound).retry_ratio, 0.5, 0.01);
  EXPECT_EQ(bench.direction(Direction::outbound).loss_source, LossSource::retries);
  EXPECT_NEAR(*bench.direction(Direction::outbound).loss_ratio, 0.5, 0.01);
  EXPECT_NEAR(*bench.supervisor.snapshot(bench.now)->links[0].latency_s, 3, 1e-6);
}

TEST(Supervisor, FarValuesCountOnceUntilTheyChange) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  for (int i = 0; i < 60; ++i) {
    bench.pass(10s);
    bench.take(bench.report({{Field::seq, i}, {Field::rssi_dbm, -100}, {Field::far_rssi_dbm, -100.0 - i / 10}}));
  }
  EXPECT_EQ(bench.direction(Direction::outbound).reports, 6U);
  EXPECT_EQ(bench.direction(Direction::inbound).reports, 60U);
}

TEST(Supervisor, StateSurvivesARestart) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(6h, -100, -100);
  bench.run(3h, -118, -118, -117, 20);
  const std::string saved = bench.supervisor.save();
  EXPECT_FALSE(bench.supervisor.alerts_changed_since_save());
  const DirectionSnapshot before = bench.direction(Direction::inbound);
  const std::size_t events = bench.events.size();

  bench.now.wall += 5min;
  bench.now.steady = Duration{77s};
  bench.supervisor = Supervisor(bench.settings_, bench.now);
  ASSERT_TRUE(bench.supervisor.restore(saved, bench.now));
  const DirectionSnapshot after = bench.direction(Direction::inbound);
  EXPECT_NEAR(*after.margin_db, *before.margin_db, 0.5);
  EXPECT_EQ(after.frames_lost_total, before.frames_lost_total);
  EXPECT_EQ(after.budget_margin_db, before.budget_margin_db);

  bench.event(PortEvent::Kind::opened);
  bench.seq += 30;   // sent while the program did not run: unknown, not lost
  bench.run(1min, -118, -118);
  EXPECT_EQ(bench.direction(Direction::inbound).frames_lost_total, before.frames_lost_total);
  bench.run(1h, -118, -118, -117, 20);
  EXPECT_EQ(bench.events.size(), events) << "nothing is raised anew";
  int active = 0;
  for (const AlertState& alert : bench.alerts()) active += alert.active;
  EXPECT_GE(active, 2);
}

TEST(Supervisor, DamagedStateIsRefusedAndChangesNothing) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  bench.run(2h, -100, -100);
  const std::string saved = bench.supervisor.save();
  std::mt19937 random(3);
  for (int i = 0; i < 300; ++i) {
    std::string damaged = saved;
    if (i % 2 == 0)
      damaged.resize(random() % damaged.size());
    else
      damaged[random() % damaged.size()] ^= static_cast<char>(1 + random() % 255);
    EXPECT_FALSE(bench.supervisor.restore(damaged, bench.now)) << i;
  }
  EXPECT_NEAR(static_cast<double>(bench.direction(Direction::inbound).reports), 360, 2);
  EXPECT_TRUE(bench.supervisor.restore(saved, bench.now));
}

TEST(Supervisor, ReloadKeepsStateByNameAndEndsAlertsOfRemovedLinks) {
  Settings settings = Bench::one_link();
  settings.links.push_back(settings.links[0]);
  settings.links[1].name = "ridge";
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  bench.run(6h, -118, -118);
  ASSERT_GE(bench.count(AlertName::MarginLow, Change::raised), 2);
  Settings reordered = settings;
  std::swap(reordered.links[0], reordered.links[1]);
  bench.supervisor.reconfigure(reordered, bench.now);
  bench.collect();
  EXPECT_EQ(bench.count(AlertName::MarginLow, Change::cleared), 0);
  EXPECT_NEAR(static_cast<double>(bench.direction(Direction::inbound, 1).reports), 360, 2);
  Settings without = settings;
  without.links.erase(without.links.begin());
  bench.supervisor.reconfigure(without, bench.now);
  bench.collect();
  EXPECT_GE(bench.count(AlertName::MarginLow, Change::cleared), 2);
  EXPECT_EQ(bench.supervisor.link_count(), 1U);
}

// The far end lowers its power by 16 dB and takes the margin along: with what it could add it is as
// far from trouble as before.
TEST(Supervisor, UnusedPowerIsNotMissing) {
  Settings settings = Bench::one_link();
  settings.links[0].alerts.deficit_db.hold = 15min;
  settings.links[0].radio.rssi = RadioSettings::Rssi::wanted;
  Bench plain(settings);
  settings.links[0].radio.max_power_dbm = 30;
  Bench bench(settings);
  for (Bench* each : {&bench, &plain}) {
    each->event(PortEvent::Kind::opened);
    for (int i = 0; i < 6 * 360; ++i) {
      each->pass(10s);
      const double power = i < 3 * 360 ? 30 : 14;
      each->take(each->report({{Field::seq, i},
                               {Field::rssi_dbm, -125.5 + power + each->fading(each->random)},
                               {Field::noise_dbm, -117},
                               {Field::far_tx_power_dbm, power}}));
      const DirectionSnapshot in = each->direction(Direction::inbound);
      if (i < 30 || i % 10 != 0) continue;
      ASSERT_EQ(in.reserve_db.has_value(), each == &bench) << i;
      // -125.5 + 30 + 117 + 7.5 dB.
      if (in.reserve_db) { ASSERT_NEAR(*in.reserve_db, 29, 0.4) << i; }
    }
    EXPECT_NEAR(*each->direction(Direction::inbound).margin_db, 13, 0.5);
  }
  EXPECT_EQ(bench.count(AlertName::MarginLow, Change::raised), 0);
  EXPECT_EQ(bench.count(AlertName::BudgetDeficit, Change::raised), 0);
  // What is lost beyond that is.
  for (int i = 0; i < 3 * 360; ++i) {
    bench.pass(10s);
    bench.take(bench.report({{Field::seq, 6 * 360 + i},
                             {Field::rssi_dbm, -125.5 + 14 - 20 + bench.fading(bench.random)},
                             {Field::noise_dbm, -117},
                             {Field::far_tx_power_dbm, 14}}));
  }
  const Event* low = bench.find(AlertName::MarginLow, Change::raised);
  ASSERT_NE(low, nullptr);
  EXPECT_NE(low->text.find("with the power that is unused"), std::string::npos) << low->text;
}

// Rate adaptation between spreading factors 7 and 12 on a steady path: 12.5 dB by the published
// table, at each moment either in the margin or in reserve.
TEST(Supervisor, TheSlowestRateIsAReserveThatDoesNotJump) {
  Settings settings = Bench::one_link();
  settings.links[0].radio.slowest.spreading_factor = 12;
  settings.links[0].alerts.margin_db = {20.0, {}, 0.5, 1min};
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  for (int i = 0; i < 12 * 360; ++i) {
    bench.pass(10s);
    const int factor = 7 + i / 500 % 6;  // another one every 83 minutes
    bench.take(bench.report({{Field::seq, i},
                             {Field::rssi_dbm, -109 + bench.fading(bench.random)},
                             {Field::noise_dbm, -117},
                             {Field::spreading_factor, factor}}));
    if (i < 30 || i % 10 != 0) continue;
    const DirectionSnapshot in = bench.direction(Direction::inbound);
    ASSERT_TRUE(in.reserve_db) << i;
    // Signal 7.3 dB over the noise, 20 dB under it still read.
    ASSERT_NEAR(*in.reserve_db, 27.3, 0.7) << i << ", factor " << factor;
  }
  EXPECT_EQ(bench.count(AlertName::MarginLow, Change::raised), 0);
}

// A margin proved when the link was installed stands for its baseline until the daemon has one of its
// own, of the first fourteen days. 23.3 dB as in the example of the contract above: 6.7 dB less than
// the 30 dB that were proved.
TEST(Supervisor, AProvedMarginStandsUntilTheBaselineIsComplete) {
  Settings settings = Bench::one_link();
  settings.links[0].baseline.proved_margin_db[static_cast<std::size_t>(Direction::inbound)] = 30;
  Bench bench(settings);
  EXPECT_EQ(bench.direction(Direction::inbound).baseline_margin_db, 30);   // before the first report
  EXPECT_FALSE(bench.direction(Direction::inbound).baseline_deficit_db);
  EXPECT_FALSE(bench.direction(Direction::outbound).baseline_margin_db);
  bench.event(PortEvent::Kind::opened);
  const double total = 10 * std::log10(std::pow(10, -10.12) + std::pow(10, -11.7));
  bench.run(72h, total, total);   // two or three days of its own: not enough of them
  EXPECT_EQ(bench.direction(Direction::inbound).baseline_margin_db, 30);
  EXPECT_NEAR(*bench.direction(Direction::inbound).baseline_deficit_db, 6.7, 0.3);
  EXPECT_NEAR(*bench.direction(Direction::outbound).baseline_margin_db, 23.3, 0.3);   // none proved
  EXPECT_NEAR(*bench.direction(Direction::outbound).baseline_deficit_db, 0, 0.3);
  bench.run(24h * 12, total, total);
  EXPECT_NEAR(*bench.direction(Direction::inbound).baseline_margin_db, 23.3, 0.3);
  EXPECT_NEAR(*bench.direction(Direction::inbound).baseline_deficit_db, 0, 0.3);
}

// Two ports, a link that names neither: whoever is heard first keeps it, over a restart of the
// program and with the ports in another order.
TEST(Supervisor, ALinkThatNamesNoPortStaysWithItsOwnOverARestart) {
  Settings settings = Bench::one_link();
  settings.ports.push_back(settings.ports[0]);
  settings.ports[1].name = "ridge";
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened, 0);
  bench.event(PortEvent::Kind::opened, 1);
  const auto hear = [&](double seq, PortIndex port) {
    bench.pass(10s);
    bench.take(bench.report({{Field::seq, seq}, {Field::rssi_dbm, -100}}, "weir", port));
  };
  hear(1, 1);
  hear(2, 1);
  const std::string saved = bench.supervisor.save();
  std::swap(settings.ports[0], settings.ports[1]);
  bench.supervisor = Supervisor(settings, bench.now);
  ASSERT_TRUE(bench.supervisor.restore(saved, bench.now));
  hear(900, 1);  // "mast" now: another radio of the same name
  EXPECT_EQ(bench.direction(Direction::inbound).frames_total, 2U);
  EXPECT_EQ(bench.supervisor.snapshot(bench.now)->ports[1].unmatched, 1U);
  hear(3, 0);
  EXPECT_EQ(bench.direction(Direction::inbound).frames_total, 3U);
  // Its port is gone from the configuration: the next one that hears it keeps it.
  settings.ports[0].name = "quarry";
  bench.supervisor = Supervisor(settings, bench.now);
  ASSERT_TRUE(bench.supervisor.restore(saved, bench.now));
  hear(4, 1);
  EXPECT_EQ(bench.direction(Direction::inbound).frames_total, 3U);
}

TEST(Supervisor, CountersOfAPortGoOnAfterARestart) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  PortEvent event;
  event.port = 0;
  event.kind = PortEvent::Kind::discarded;
  event.discard = static_cast<DiscardReason>(1);
  event.count = 7;
  bench.supervisor.note(event, bench.now);
  event.kind = PortEvent::Kind::rejected;
  event.reject = static_cast<RejectReason>(1);
  event.count = 3;
  bench.supervisor.note(event, bench.now);
  event.kind = PortEvent::Kind::unknown_keys;
  event.count = 11;
  bench.supervisor.note(event, bench.now);
  bench.take(bench.report({{Field::rssi_dbm, -100}}, "weir"));
  LinkReport stranger = bench.report({{Field::rssi_dbm, -100}}, "nobody");
  stranger.index = kNoLink;
  bench.take(stranger);
  bench.event(PortEvent::Kind::failed);
  const std::string saved = bench.supervisor.save();
  bench.supervisor = Supervisor(bench.settings_, bench.now);
  ASSERT_TRUE(bench.supervisor.restore(saved, bench.now));
  bench.event(PortEvent::Kind::opened);
  event.kind = PortEvent::Kind::discarded;
  event.count = 1;
  bench.supervisor.note(event, bench.now);
  const PortSnapshot port = bench.supervisor.snapshot(bench.now)->ports[0];
  EXPECT_EQ(port.discarded_bytes[1], 8U);
  EXPECT_EQ(port.rejected[1], 3U);
  EXPECT_EQ(port.unknown_keys, 11U);
  EXPECT_EQ(port.unmatched, 1U);
  EXPECT_EQ(port.faults, 1U);
  EXPECT_TRUE(port.up);
}

// The bandwidth doubles: the noise floor rises by 10 log10(2) = 3.0 dB, and nothing is wrong. The control keeps its bandwidth, and the same rise is a fault.
TEST(Supervisor, TwiceTheBandwidthIsNoNoise) {
  for (const bool told : {true, false}) {
    Bench bench;
    bench.event(PortEvent::Kind::opened);
    std::normal_distribution<double> reading(0, 0.7);
    std::mt19937 random(5);
    const auto run = [&](Duration span, double hz, double noise, double here = 0) {
      for (Duration passed{}; passed < span; passed += 20s) {
        bench.pass(20s);
        const double fade = 2 * bench.fading(bench.random);
        bench.take(bench.report({{Field::seq, ++bench.seq},
                                 {Field::rssi_dbm, -85 + fade},
                                 {Field::noise_dbm, std::round(noise + here + reading(random))},
                                 {Field::far_rssi_dbm, -86 + fade},
                                 {Field::bandwidth_hz, hz}}));
      }
    };
    run(24h * 5 + 7h, 125000, -117);
    EXPECT_TRUE(bench.events.empty());
    run(24h * 10, told ? 250000 : 125000, -114);
    int other = 0;
    for (const Event& event : bench.events)
      other += event.alert != AlertName::SettingChanged && event.alert != AlertName::BudgetDeficit;
    if (told) {
      EXPECT_EQ(bench.count(AlertName::SettingChanged, Change::raised), 1);
      EXPECT_EQ(other, 0) << bench.events.back().text;
    } else {
      EXPECT_GT(other, 0);
    }
    // What comes later is seen against the new floor.
    run(6h, told ? 250000 : 125000, -114, 5);
    const Event* raised = bench.find(AlertName::InterferenceSuspected, Change::raised);
    ASSERT_NE(raised, nullptr);
    if (told) { EXPECT_NEAR(*raised->size_db, 5, 1); }
  }
}

// Noise that was told goes on in twice the bandwidth, and ends there.
TEST(Supervisor, InTwiceTheBandwidthNoiseEndsWhenItIsGone) {
  Bench bench;
  bench.event(PortEvent::Kind::opened);
  std::normal_distribution<double> reading(0, 0.7);
  const auto run = [&](Duration span, double hz, double noise) {
    for (Duration passed{}; passed < span; passed += 20s) {
      bench.pass(20s);
      const double fade = 2 * bench.fading(bench.random);
      bench.take(bench.report({{Field::seq, ++bench.seq},
                               {Field::rssi_dbm, -85 + fade},
                               {Field::noise_dbm, std::round(noise + reading(bench.random))},
                               {Field::far_rssi_dbm, -86 + fade},
                               {Field::bandwidth_hz, hz}}));
    }
  };
  run(24h * 3, 125000, -117);
  run(6h, 125000, -111);
  ASSERT_EQ(bench.count(AlertName::InterferenceSuspected, Change::raised), 1);
  run(6h, 250000, -108);
  EXPECT_EQ(bench.count(AlertName::InterferenceSuspected, Change::cleared), 0);
  run(6h, 250000, -114);
  EXPECT_EQ(bench.count(AlertName::InterferenceSuspected, Change::cleared), 1);
  EXPECT_EQ(bench.count(AlertName::InterferenceSuspected, Change::raised), 1);
}

// Work on the mast goes on while the program is started anew: what is 5 dB lower after it is no
// change of that moment.
TEST(Supervisor, UpkeepThatARestartFallsIntoEndsLikeAnyOther) {
  Settings settings = Bench::one_link();
  settings.links[0].upkeep.push_back({kStart + 8h, kStart + 9h, "mast work"});
  Bench bench(settings);
  bench.event(PortEvent::Kind::opened);
  bench.run(8h + 30min, -100, -100);
  const std::string saved = bench.supervisor.save();
  bench.now.wall += 35min;
  bench.now.steady += 35min;
  bench.supervisor = Supervisor(bench.settings_, bench.now);
  ASSERT_TRUE(bench.supervisor.restore(saved, bench.now));
  bench.event(PortEvent::Kind::opened);
  bench.run(20h, -105, -100);
  EXPECT_EQ(bench.count(AlertName::EquipmentSuspected, Change::raised), 0);
  EXPECT_EQ(bench.count(AlertName::FadingSuspected, Change::raised), 0);
}

// Whatever reports hold, nothing breaks and no value leaves the range of the possible.
TEST(Supervisor, RandomReportsDoNoHarm) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    Bench bench;
    bench.event(PortEvent::Kind::opened);
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> share(0, 1);
    for (int i = 0; i < 20000; ++i) {
      LinkReport report = bench.report({});
      for (std::size_t f = 0; f < kFields; ++f) {
        if (random() % 3 != 0) continue;
        const FieldInfo& info = field_info(static_cast<Field>(f));
        const double value = info.lowest + share(random) * (info.highest - info.lowest);
        report.set(static_cast<Field>(f), random() % 4 == 0 ? std::floor(value) : value);
      }
      if (random() % 50 == 0) bench.event(PortEvent::Kind::discarded, 0, 7);
      bench.pass(Duration{static_cast<std::int64_t>(random() % 120'000'000)});
      bench.take(report);
      if (i % 500 != 0) continue;
      for (const Direction direction : {Direction::inbound, Direction::outbound}) {
        const DirectionSnapshot d = bench.direction(direction);
        if (d.loss_ratio) {
          ASSERT_GE(*d.loss_ratio, 0) << "seed " << seed;
          ASSERT_LE(*d.loss_ratio, 1) << "seed " << seed;
        }
        for (const auto& value : {d.margin_db, d.signal_dbm, d.noise_dbm, d.margin_low_db, d.margin_stderr_db})
          ASSERT_TRUE(!value || std::isfinite(*value)) << "seed " << seed;
      }
    }
    const std::string saved = bench.supervisor.save();
    EXPECT_TRUE(bench.supervisor.restore(saved, bench.now)) << "seed " << seed;
  }
}

}  // namespace
}  // namespace fadeward::judge::supervisor_test
