#include "fadeward/link/link_state.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "fadeward/base/archive.hpp"

namespace fadeward::link::link_state_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

class Radio {
 public:
  explicit Radio(LinkSettings settings = {}) : state(settings, false) {}
  void report(std::initializer_list<std::pair<Field, double>> values) {
    now += 10s;
    LinkReport report;
    report.set(Field::seq, ++seq);
    report.set(Field::rssi_dbm, -100);
    for (const auto& [field, value] : values) report.set(field, value);
    state.take(report, now);
  }
  Time now = kStart;
  double seq = 0;
  LinkState state;
};

TEST(LinkState, PowerThatIsNotReportedIsNotUnused) {
  LinkSettings settings;
  settings.radio.max_power_dbm = 30;
  Radio radio(settings);
  radio.report({});
  EXPECT_DOUBLE_EQ(radio.state.unused_power_db(Direction::inbound), 0);
  EXPECT_DOUBLE_EQ(radio.state.unused_power_db(Direction::outbound), 0);
}

TEST(LinkState, UnusedPowerIsWhatTheRadioCouldAdd) {
  LinkSettings settings;
  settings.radio.max_power_dbm = 30;
  Radio configured(settings), seen;
  for (Radio* radio : {&configured, &seen})
    for (const double power : {20.0, 27.0, 14.0})
      radio->report({{Field::far_tx_power_dbm, power}, {Field::tx_power_dbm, power - 1}, {Field::far_rssi_dbm, -90 - power}});
  // Inbound is sent by the far end.
  EXPECT_DOUBLE_EQ(configured.state.unused_power_db(Direction::inbound), 30 - 14);
  EXPECT_DOUBLE_EQ(configured.state.unused_power_db(Direction::outbound), 30 - 13);
  // Not configured: the highest that was seen.
  EXPECT_DOUBLE_EQ(seen.state.unused_power_db(Direction::inbound), 27 - 14);
  EXPECT_DOUBLE_EQ(seen.state.unused_power_db(Direction::outbound), 26 - 13);
  configured.report({{Field::far_tx_power_dbm, 33}});
  EXPECT_DOUBLE_EQ(configured.state.unused_power_db(Direction::inbound), 0) << "more than is configured";

  std::string bytes;
  ArchiveWriter writer(bytes);
  seen.state.archive(writer);
  Radio again;
  ArchiveReader reader(bytes);
  again.state.archive(reader);
  ASSERT_TRUE(reader.ok() && reader.at_end());
  EXPECT_DOUBLE_EQ(again.state.unused_power_db(Direction::inbound), 27 - 14);
}

// Frames with a Rice factor of 10 dB over steady noise; the weak ones are lost, and some whatever
// their level. What is told apart is compared with what was done.
TEST(LinkState, WhatTheLevelsLoseIsToldFromTheRest) {
  struct Case {
    double margin_db, collisions;
    unsigned seed;
  };
  for (const Case& one : {Case{9, 0.05, 1}, Case{9, 0.20, 2}, Case{6, 0.05, 3}, Case{6, 0, 4},
                          Case{3, 0, 5}, Case{3, 0.10, 6}, Case{20, 0.05, 7}, Case{0, 0, 8}}) {
    LinkSettings settings;
    settings.radio.modulation = RadioSettings::Modulation::css;
    settings.radio.spreading_factor = 7;  // needs -7.5 dB
    settings.radio.rssi = RadioSettings::Rssi::wanted;
    LinkState state(settings, false);
    std::mt19937_64 random(one.seed);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> uniform;
    const double k = 10, steady = std::sqrt(k / (k + 1)), scattered = std::sqrt(0.5 / (k + 1));
    double seq = 0, weak = 0, lost = 0, sent = 0;
    Time now = kStart;
    for (int i = 0; i < 24 * 360; ++i) {
      now += 10s;
      if (i % 6 == 0) state.tick(now);
      ++seq;
      const double power = std::pow(steady + scattered * normal(random), 2) +
                           std::pow(scattered * normal(random), 2);
      // Median of the power at this Rice factor: 0.956 of the mean (by simulation).
      const double margin_db = one.margin_db + 10 * std::log10(power / 0.956);
      const bool too_weak = margin_db < 0.6 * normal(random);
      const bool met = uniform(random) < one.collisions;
      if (i >= 23 * 360) {
        ++sent;
        weak += too_weak;
        lost += too_weak || met;
      }
      if (too_weak || met) continue;
      LinkReport report;
      report.set(Field::seq, seq);
      report.set(Field::rssi_dbm, std::round(-117 - 7.5 + margin_db + 0.3 * normal(random)));
      report.set(Field::noise_dbm, std::round(-117 + 0.5 * normal(random)));
      state.take(report, now);
    }
    const auto margin = state.margin(Direction::inbound, now);
    ASSERT_TRUE(margin);
    const double expected = weak / sent, error = std::sqrt(expected / sent);
    EXPECT_NEAR(margin->too_weak, expected, 0.25 * expected + 2 * error + 0.01)
        << "margin " << one.margin_db << ", collisions " << one.collisions << ", lost "
        << lost / sent << ", seed " << one.seed;
  }
}

TEST(LinkState, ALevelThatTheFarEndMeasuredJustNowBelongsToTheChannelOfItsFrame) {
  Radio radio;
  for (int i = 0; i < 40; ++i)
    radio.report({{Field::channel, i % 8}, {Field::far_rssi_dbm, -100 - i % 3}, {Field::far_time, to_unix_seconds(radio.now) + 9.0}});
  EXPECT_EQ(radio.state.direction(Direction::outbound).channels.size(), 8U);
  EXPECT_EQ(radio.state.direction(Direction::outbound).frames_total, 40U);
  // Measured long before: some other frame, on a channel that nobody knows.
  Radio late;
  for (int i = 0; i < 40; ++i)
    late.report({{Field::channel, i % 8}, {Field::far_rssi_dbm, -100 - i % 3}, {Field::far_time, to_unix_seconds(late.now) - 20.0}});
  EXPECT_EQ(late.state.direction(Direction::outbound).channels.size(), 0U);
  EXPECT_EQ(late.state.direction(Direction::outbound).frames_total, 40U);
  EXPECT_EQ(late.state.direction(Direction::inbound).channels.size(), 8U);
  // Carriers serve as well as numbers.
  Radio carriers;
  for (int i = 0; i < 40; ++i)
    carriers.report({{Field::frequency_hz, 868e6 + 2e5 * (i % 5)}, {Field::far_rssi_dbm, -100 - i % 3}});
  EXPECT_EQ(carriers.state.direction(Direction::outbound).channels.size(), 5U);
}

}  // namespace
}  // namespace fadeward::link::link_state_test
