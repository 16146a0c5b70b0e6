// End to end: four invented links of one port through the one door of the core.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

#include "fadeward/judge/supervisor.hpp"

namespace fadeward::judge::supervisor_changes_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};
constexpr std::size_t kLinks = 4;

class Port {
 public:
  explicit Port(unsigned seed) : random_(seed), supervisor_(settings(), {kStart, 0s}) {
    PortEvent opened;
    opened.port = 0;
    opened.kind = PortEvent::Kind::opened;
    supervisor_.note(opened, instant());
  }
  static Settings settings() {
    Settings out;
    out.ports.resize(1);
    out.ports[0].name = "mast";
    for (const char* name : {"weir", "ridge", "sluice", "quarry"}) {
      LinkSettings link;
      link.name = name;
      link.expect = Duration{10s};
      link.radio.modulation = RadioSettings::Modulation::css;
      link.radio.spreading_factor = 7;
      link.radio.bandwidth_hz = 125000;
      link.radio.noise_figure_db = 6;
      out.links.push_back(link);
    }
    return out;
  }
  void run(Duration span) {
    for (const Time end = now_ + span; now_ < end;) {
      now_ += 10s;
      supervisor_.tick(instant());
      for (std::size_t i = 0; i < kLinks; ++i)
        if (speaks[i]) frame(i);
      for (const Event& event : supervisor_.events())
        if (event.severity != Severity::info) events.push_back(event);
      supervisor_.clear_events();
    }
  }
  void restart() {
    const std::string saved = supervisor_.save();
    supervisor_ = Supervisor(settings(), instant());
    ASSERT_TRUE(supervisor_.restore(saved, instant()));
    PortEvent opened;
    opened.port = 0;
    opened.kind = PortEvent::Kind::opened;
    supervisor_.note(opened, instant());
  }
  std::string story() const {
    std::string out;
    for (const Event& e : events)
      out += "\n  " + format_rfc3339(e.time) + " link " + std::to_string(e.link) + " " + std::string(name_of(e.change)) + " " +
             std::string(name_of(e.alert)) + " " + std::string(name_of(e.cause)) + ": " + e.text;
    return out;
  }

  bool port_alert_is_stale() const {
    const SnapshotPtr snapshot = supervisor_.snapshot(instant());
  for (const AlertState& alert : snapshot->alerts)
      if (alert.port == 0 && alert.active) return alert.stale;
    return false;
  }

  std::array<double, kLinks> in{}, near_noise{};   ///< added, dB
  std::array<bool, kLinks> speaks{true, true, true, true};
  std::vector<Event> events;

 private:
  Instant instant() const { return {now_, now_ - kStart}; }
  static double total(double signal, double noise) {
    return 10 * std::log10(std::pow(10, signal / 10) + std::pow(10, noise / 10));
  }
  void frame(std::size_t i) {
    static constexpr const char* kNames[] = {"weir", "ridge", "sluice", "quarry"};
    const double kept = std::exp(-10.0 / (3 * 3600));
    shadow_[i] = kept * shadow_[i] + 0.4 * std::sqrt(1 - kept * kept) * normal_(random_);
    LinkReport report;
    report.link = kNames[i];
    report.port = 0;
    report.set(Field::seq, ++seq_[i]);
    const double near = -117 + near_noise[i] + 0.7 * normal_(random_), far = -115 + 0.7 * normal_(random_);
    const double level = -90 - 2 * static_cast<double>(i) + shadow_[i];
    report.set(Field::rssi_dbm, total(level + in[i] + 1.8 * normal_(random_), near));
    report.set(Field::noise_dbm, near);
    report.set(Field::far_rssi_dbm, total(level - 1 + 1.8 * normal_(random_), far));
    report.set(Field::far_noise_dbm, far);
    supervisor_.take(report, instant());
  }

  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;
  Time now_ = kStart;
  std::array<double, kLinks> shadow_{}, seq_{};
  Supervisor supervisor_;
};

TEST(SupervisorChanges, AFarTransmitterIsToldFromTheReceiverThatAllShare) {
  Port port(11);
  port.run(3 * 24h + 5h);
  ASSERT_TRUE(port.events.empty()) << "seed 11" << port.story();
  port.in[2] = -5;
  port.run(3h);
  ASSERT_EQ(port.events.size(), 1U) << "seed 11" << port.story();
  const Event& event = port.events[0];
  EXPECT_EQ(event.link, 2U);
  EXPECT_EQ(event.port, kNoPort);
  EXPECT_EQ(event.alert, AlertName::EquipmentSuspected);
  EXPECT_EQ(event.cause, Cause::far_transmit);
  EXPECT_EQ(event.direction, Direction::inbound);
  EXPECT_NEAR(*event.size_db, 5, 1);
  EXPECT_LE(event.time - (kStart + 3 * 24h + 5h), 30min);
  EXPECT_NE(event.text.find("other links of the port are unchanged"), std::string::npos) << event.text;
}

TEST(SupervisorChanges, NoiseAtTheNearEndIsOneAlertOfThePort) {
  Port port(12);
  port.run(3 * 24h + 5h);
  ASSERT_TRUE(port.events.empty()) << "seed 12" << port.story();
  port.near_noise.fill(5);
  port.run(4h);
  ASSERT_EQ(port.events.size(), 1U) << "seed 12" << port.story();
  const Event& event = port.events[0];
  EXPECT_EQ(event.link, kNoLink);
  EXPECT_EQ(event.port, 0U);
  EXPECT_EQ(event.alert, AlertName::InterferenceSuspected);
  EXPECT_EQ(event.cause, Cause::near_noise);
  EXPECT_NEAR(*event.size_db, 5, 1.5);
  EXPECT_LE(event.time - (kStart + 3 * 24h + 5h), 30min);
  port.near_noise.fill(0);
  port.run(4h);
  ASSERT_EQ(port.events.size(), 2U) << "seed 12" << port.story();
  EXPECT_EQ(port.events[1].change, Change::cleared);
  EXPECT_EQ(port.events[1].port, 0U);
}

// The links that carry an alert of the port fall silent, the one that does not goes on.
TEST(SupervisorChanges, AnAlertOfThePortGrowsStaleWithTheLinksThatCarryIt) {
  Port port(14);
  port.run(3 * 24h + 5h);
  ASSERT_TRUE(port.events.empty()) << "seed 14" << port.story();
  port.near_noise = {5, 5, 5, 0};
  port.run(4h);
  ASSERT_EQ(port.events.size(), 1U) << "seed 14" << port.story();
  EXPECT_EQ(port.events[0].port, 0U);
  EXPECT_FALSE(port.port_alert_is_stale());
  port.speaks = {false, false, false, true};
  port.run(2h);
  EXPECT_TRUE(port.port_alert_is_stale());
  port.speaks = {false, false, false, false};
  port.run(2h);
  EXPECT_TRUE(port.port_alert_is_stale());
  port.speaks = {true, true, true, true};
  port.run(1h);
  EXPECT_FALSE(port.port_alert_is_stale());
  for (std::size_t i = 1; i < port.events.size(); ++i)
    EXPECT_EQ(port.events[i].alert, AlertName::LinkSilent) << "seed 14" << port.story();
  port.near_noise.fill(0);
  port.run(4h);
  EXPECT_EQ(port.events.back().change, Change::cleared) << "seed 14" << port.story();
  EXPECT_EQ(port.events.back().port, 0U);
}

// The program is stopped and started again every five hours, also in the middle of a change.
TEST(SupervisorChanges, RestartsOfTheProgramChangeNothing) {
  Port straight(13), restarted(13);
  const auto run = [&](int hours) {
    straight.run(std::chrono::hours{hours});
    for (int h = 0; h < hours; h += 5) {
      restarted.run(std::chrono::hours{std::min(5, hours - h)});
      restarted.restart();
    }
  };
  run(3 * 24 + 2);
  for (Port* port : {&straight, &restarted}) port->in[1] = -5;
  straight.run(6min);
  restarted.run(6min);
  restarted.restart();   // pending
  run(6);
  for (Port* port : {&straight, &restarted}) port->in[1] = 0;
  run(8);
  ASSERT_EQ(straight.events.size(), 2U) << "seed 13" << straight.story();
  ASSERT_EQ(restarted.events.size(), 2U) << "seed 13" << restarted.story();
  for (std::size_t i = 0; i < 2; ++i) {
    EXPECT_EQ(straight.events[i].change, restarted.events[i].change);
    EXPECT_EQ(straight.events[i].alert, restarted.events[i].alert);
    EXPECT_EQ(straight.events[i].cause, restarted.events[i].cause);
    EXPECT_EQ(straight.events[i].link, restarted.events[i].link);
    EXPECT_LE(std::chrono::abs(straight.events[i].time - restarted.events[i].time), 9min);
    EXPECT_LE(std::chrono::abs(*straight.events[i].onset - *restarted.events[i].onset), 6min);
  }
}

}  // namespace
}  // namespace fadeward::judge::supervisor_changes_test
