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
