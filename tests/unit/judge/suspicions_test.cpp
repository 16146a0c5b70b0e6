// Frames of an invented link, made here, through LinkState: what is told of it and how.
#include "fadeward/judge/suspicions.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <tuple>

#include "fadeward/base/archive.hpp"

namespace fadeward::judge::suspicions_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};   // 1 January 2030, midnight
constexpr AlertName kSuspected[] = {AlertName::FadingSuspected, AlertName::InterferenceSuspected, AlertName::EquipmentSuspected};

struct Air {
  double in = 0, out = 0, near_noise = 0, far_noise = 0;   ///< added, dB
  double lost_in = 0, lost_out = 0;                        ///< shares
  double jam_db = 0;                                       ///< of the near noise on 6 of 50 channels
};

class Bench {
 public:
  explicit Bench(unsigned seed) : state(settings(), false), random_(seed) {}

  static LinkSettings settings() {
    LinkSettings link;
    link.name = "weir";
    link.expect = Duration{10s};
    link.radio.modulation = RadioSettings::Modulation::css;
    link.radio.spreading_factor = 7;
    link.radio.bandwidth_hz = 125000;
    link.radio.noise_figure_db = 6;
    return link;
  }
  void run(Duration span) {
    for (const Time end = now + span; now < end;) {
      now += 10s;
      frame();
      if (now.time_since_epoch() % 60s != 0s) continue;
      state.tick(now);
      suspicions.watch(now, state, judged);
      suspicions.tell(now, book, {0, kNoPort, &events}, company);
    }
  }
  int count(Change change) const {
    return static_cast<int>(std::count_if(events.begin(), events.end(), [&](const Event& e) { return e.change == change; }));
  }
  std::string story() const {
    std::string out;
    for (const Event& e : events)
      out += "\n  " + format_rfc3339(e.time) + " " + std::string(name_of(e.change)) + " " + std::string(name_of(e.alert)) + " " +
             (e.direction ? std::string(name_of(*e.direction)) : "both") + " " + std::string(name_of(e.cause)) + ": " + e.text;
    return out;
  }

  link::LinkState state;
  Suspicions suspicions;
  AlertBook book;
  Company company;
  std::vector<Event> events;
  Time now = kStart;
  Air air;
  bool judged = true;

 private:
  static double total(double signal, double noise) {
    return 10 * std::log10(std::pow(10, signal / 10) + std::pow(10, noise / 10));
  }
  void frame() {
    const double kept = std::exp(-10.0 / (3 * 3600));
    shadow_ = kept * shadow_ + 0.4 * std::sqrt(1 - kept * kept) * normal_(random_);
    ++seq_;
    ++sent_;
    if (share_(random_) >= air.lost_out) ++heard_;
    const auto channel = static_cast<double>(random_() % 50);
    if (share_(random_) < air.lost_in) return;
    LinkReport report;
    report.set(Field::seq, seq_);
    report.set(Field::tx_frames, sent_);
    report.set(Field::far_rx_frames, heard_);
    report.set(Field::channel, channel);
    const double near = -117 + air.near_noise + (channel < 6 ? air.jam_db : 0) + 0.7 * normal_(random_);
    const double far = -115 + air.far_noise + 0.7 * normal_(random_);
    report.set(Field::rssi_dbm, total(-92 + shadow_ + air.in + 1.8 * normal_(random_), near));
    report.set(Field::noise_dbm, near);
    report.set(Field::far_rssi_dbm, total(-94 + shadow_ + air.out + 1.8 * normal_(random_), far));
    report.set(Field::far_noise_dbm, far);
    state.take(report, now);
  }

  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;
  std::uniform_real_distribution<double> share_{0, 1};
  double shadow_ = 0, seq_ = 0, sent_ = 0, heard_ = 0;
};

TEST(Suspicions, EveryCauseHasItsAlertAndDirection) {
  const auto check = [](Cause cause, AlertName name, std::optional<Direction> direction) {
    EXPECT_EQ(alert_of(cause), name) << name_of(cause);
    EXPECT_EQ(direction_of(cause), direction) << name_of(cause);
  };
  const auto in = Direction::inbound, out = Direction::outbound;
  check(Cause::path, AlertName::FadingSuspected, {});
  check(Cause::near_antenna, AlertName::EquipmentSuspected, {});
  check(Cause::far_antenna, AlertName::EquipmentSuspected, {});
  // inbound = sent by the far end, heard at the near end
  check(Cause::far_transmit, AlertName::EquipmentSuspected, in);
  check(Cause::near_receive, AlertName::EquipmentSuspected, in);
  check(Cause::near_transmit, AlertName::EquipmentSuspected, out);
  check(Cause::far_receive, AlertName::EquipmentSuspected, out);
  check(Cause::near_noise, AlertName::InterferenceSuspected, in);
  check(Cause::near_channels, AlertName::InterferenceSuspected, in);
  check(Cause::far_noise, AlertName::InterferenceSuspected, out);
  check(Cause::far_channels, AlertName::InterferenceSuspected, out);
  EXPECT_EQ(alert_of(Cause::collisions), AlertName::InterferenceSuspected);
}

struct Case {
  Cause cause;
  Air air;
  Duration within;
  std::optional<double> size_db;
};
const Case kCases[] = {
    {Cause::path, {.in = -8, .out = -8}, 1h, 8},
    {Cause::far_antenna, {.in = -8, .out = -8, .far_noise = -5}, 2h, 8},
    {Cause::far_transmit, {.in = -4}, 1h, 4},
    {Cause::near_transmit, {.out = -4}, 1h, 4},
    {Cause::near_receive, {.in = -4, .near_noise = -4}, 1h, 4},
    {Cause::near_noise, {.near_noise = 4}, 30min, 4},
    {Cause::far_noise, {.far_noise = 4}, 30min, 4},
    {Cause::near_channels, {.jam_db = 6}, 2h, 6},
    {Cause::collisions, {.lost_in = 0.1}, 1h, {}},
};

TEST(Suspicions, OneAlertWithCauseMomentAndSizeAndItsEnd) {
  for (const Case& one : kCases) {
    SCOPED_TRACE(std::string(name_of(one.cause)) + ", seed 3");
    Bench bench(3);
    bench.run(4 * 24h + 9h + 30min);
    ASSERT_TRUE(bench.events.empty()) << bench.story();
    const Time onset = bench.now;
    bench.air = one.air;
    bench.run(5h);
    ASSERT_EQ(bench.count(Change::raised), 1) << bench.story();
    const Event& raised = bench.events[0];
    EXPECT_EQ(raised.change, Change::raised);
    EXPECT_EQ(raised.alert, alert_of(one.cause)) << bench.story();
    EXPECT_EQ(raised.cause, one.cause) << bench.story();
    EXPECT_EQ(raised.direction, one.cause == Cause::collisions ? Direction::inbound : direction_of(one.cause)) << bench.story();
    EXPECT_EQ(raised.severity, Severity::warning);
    EXPECT_LE(raised.time - onset, one.within);
    ASSERT_TRUE(raised.onset);
    EXPECT_LE(std::chrono::abs(*raised.onset - onset), one.within / 2);
    EXPECT_EQ(raised.size_db.has_value(), one.size_db.has_value());
    if (one.size_db) {
      EXPECT_GT(*raised.size_db, 0.3 * *one.size_db) << bench.story();   // more is learned later
      EXPECT_LT(*raised.size_db, 1.3 * *one.size_db) << bench.story();
      EXPECT_NEAR(*bench.suspicions.size_db_of(raised.direction.value_or(Direction::inbound)), *one.size_db, 0.2 * *one.size_db);
      EXPECT_NE(raised.text.find(" dB"), std::string::npos) << raised.text;
    } else {
      EXPECT_NE(raised.text.find(" %"), std::string::npos) << raised.text;
    }
    EXPECT_NE(raised.text.find(" UTC"), std::string::npos) << raised.text;
    EXPECT_EQ(raised.text.back(), '.') << raised.text;
    for (const Direction d : {Direction::inbound, Direction::outbound})
      EXPECT_EQ(bench.suspicions.cause_of(d), !raised.direction || *raised.direction == d ? one.cause : Cause::none) << name_of(d);
    bench.air = {};
    bench.run(16h);
    EXPECT_EQ(bench.count(Change::cleared), 1) << bench.story();
    EXPECT_EQ(bench.count(Change::raised), 1) << bench.story();
    EXPECT_LE(bench.events.size(), 4U) << "nothing flaps" << bench.story();
    for (const Direction d : {Direction::inbound, Direction::outbound}) EXPECT_EQ(bench.suspicions.cause_of(d), Cause::none);
  }
}

TEST(Suspicions, WhatIsToldForThePortIsWithheld) {
  Bench bench(5);
  bench.run(3 * 24h);
  bench.air = {.near_noise = 5};
  bench.company.many = true;
  bench.company.told_for_port.add(Cause::near_noise);
  bench.run(6h);
  EXPECT_TRUE(bench.events.empty()) << bench.story();
  std::vector<NearSide> said;
  bench.suspicions.append_near_side(said, true);
  ASSERT_EQ(said.size(), 1U) << "the port is told of it all the same";
  EXPECT_EQ(said[0].cause, Cause::near_noise);
  EXPECT_NEAR(*said[0].size_db, 5, 1);
  // The others are well again, this one is not: now it speaks for itself.
  bench.company.told_for_port = {};
  bench.run(10min);
  ASSERT_EQ(bench.events.size(), 1U);
  EXPECT_EQ(bench.events[0].cause, Cause::near_noise);
  // And the other way round.
  bench.company.told_for_port.add(Cause::near_noise);
  bench.run(10min);
  ASSERT_EQ(bench.events.size(), 2U);
  EXPECT_EQ(bench.events[1].change, Change::cleared);
  EXPECT_NE(bench.events[1].text.find("whole port"), std::string::npos) << bench.events[1].text;
}

TEST(Suspicions, OfThreeLinksANearSideChangeWaitsForTheOthers) {
  Duration alone{}, in_company{};
  for (const bool many : {false, true}) {
    Bench bench(7);
    bench.run(3 * 24h);
    bench.company.many = many;
    const Time onset = bench.now;
    bench.air = {.near_noise = 5};
    bench.run(2h);
    ASSERT_EQ(bench.events.size(), 1U) << bench.story();
    (many ? in_company : alone) = bench.events[0].time - onset;
  }
  EXPECT_GE(in_company - alone, 9min);
  EXPECT_LE(in_company - alone, 16min);
  // What cannot be shared does not wait.
  for (const bool many : {false, true}) {
    Bench bench(7);
    bench.run(3 * 24h);
    bench.company.many = many;
    const Time onset = bench.now;
    bench.air = {.far_noise = 5};
    bench.run(2h);
    ASSERT_EQ(bench.events.size(), 1U) << bench.story();
    (many ? in_company : alone) = bench.events[0].time - onset;
  }
  EXPECT_EQ(in_company, alone);
}

TEST(Suspicions, TheOtherLinksTellTheEndsApart) {
  for (const bool unchanged : {false, true}) {
    Bench bench(2);
    bench.run(3 * 24h);
    bench.company.others_unchanged = unchanged;
    bench.air = {.in = -5};
    bench.run(2h);
    ASSERT_EQ(bench.events.size(), 1U) << bench.story();
    EXPECT_EQ(bench.events[0].text.find("other links of the port are unchanged") != std::string::npos, unchanged) << bench.events[0].text;
    if (!unchanged) {
      EXPECT_NE(bench.events[0].text.find("here"), std::string::npos) << "names both ends: " << bench.events[0].text;
    }
  }
}

// As changes of levels do: after three weeks they are the usual, which the sentence says, and more of
// it is told again.
TEST(Suspicions, CollisionsAndJammedChannelsBecomeTheUsual) {
  for (const bool jam : {false, true}) {
    Bench bench(6);
    bench.run(3 * 24h);
    ASSERT_TRUE(bench.events.empty()) << bench.story();
    bench.air = jam ? Air{.jam_db = 5} : Air{.lost_in = 0.06};
    bench.run(24h * 20);
    ASSERT_EQ(bench.events.size(), 1U) << bench.story();
    EXPECT_EQ(bench.events[0].cause, jam ? Cause::near_channels : Cause::collisions);
    bench.run(24h * 9);
    ASSERT_EQ(bench.events.size(), 2U) << bench.story();
    EXPECT_EQ(bench.events[1].change, Change::cleared);
    EXPECT_GT(bench.events[1].time - bench.events[0].time, 24h * 21);
    const std::string& text = bench.events[1].text;
    EXPECT_NE(text.find("taken for the usual from now on"), std::string::npos) << text;
    EXPECT_NE(text.find(jam ? "hop channels" : "of frames"), std::string::npos) << text;
    bench.air = jam ? Air{.jam_db = 10} : Air{.lost_in = 0.18};
    bench.run(12h);
    ASSERT_EQ(bench.events.size(), 3U) << bench.story();
    EXPECT_EQ(bench.events[2].change, Change::raised);
    EXPECT_EQ(bench.events[2].cause, bench.events[0].cause);
  }
}

// Neither a month without a word nor two without the program count to the three weeks.
TEST(Suspicions, WhatNobodySawForWeeksIsNotTheUsual) {
  for (const bool silence : {true, false}) {
    Bench bench(6);
    bench.run(3 * 24h);
    bench.air = {.near_noise = 6};
    bench.run(5 * 24h);
    ASSERT_EQ(bench.events.size(), 1U) << bench.story();
    if (silence)
      for (int minute = 0; minute < 30 * 24 * 60; ++minute) {
        bench.now += 1min;
        bench.state.tick(bench.now);
        bench.suspicions.watch(bench.now, bench.state, true);
        bench.suspicions.tell(bench.now, bench.book, {0, kNoPort, &bench.events}, bench.company);
      }
    else
      bench.now += 60 * 24h;
    bench.run(4 * 24h);
    EXPECT_EQ(bench.events.size(), 1U) << bench.story();
    bench.run(14 * 24h);
    ASSERT_EQ(bench.events.size(), 2U) << bench.story();
    EXPECT_NE(bench.events[1].text.find("three weeks"), std::string::npos) << bench.events[1].text;
  }
}

TEST(Suspicions, CollisionsOfBothDirectionsStayTheAlertTheyWere) {
  Bench bench(4);
  bench.run(3 * 24h);
  bench.air = {.lost_in = 0.12};
  bench.run(4h);
  ASSERT_EQ(bench.events.size(), 1U) << bench.story();
  ASSERT_EQ(bench.events[0].direction, Direction::inbound);
  bench.air = {.lost_in = 0.12, .lost_out = 0.12};
  bench.run(6h);
  EXPECT_EQ(bench.suspicions.cause_of(Direction::outbound), Cause::collisions);
  EXPECT_EQ(bench.events.size(), 1U) << "it keeps the direction it was raised with" << bench.story();
  bench.air = {};
  bench.run(24h);
  EXPECT_EQ(bench.count(Change::cleared), 1) << bench.story();
  EXPECT_EQ(bench.events.size(), 2U) << bench.story();
}

TEST(Suspicions, AFaultThatGetsWorseIsToldAgain) {
  for (const auto& [first, second, cause] :
       {std::tuple{Air{.in = -3}, Air{.in = -9}, Cause::far_transmit},
        std::tuple{Air{.near_noise = 4}, Air{.near_noise = 10}, Cause::near_noise}}) {
    Bench bench(12);
    bench.run(3 * 24h);
    bench.air = first;
    bench.run(2 * 24h);
    ASSERT_EQ(bench.events.size(), 1U) << bench.story();
    bench.air = second;
    const Time worse = bench.now;
    bench.run(2h);
    ASSERT_EQ(bench.events.size(), 2U) << bench.story();
    EXPECT_EQ(bench.events[1].change, Change::changed) << bench.story();
    EXPECT_EQ(bench.events[1].cause, cause) << bench.story();
    EXPECT_NEAR(*bench.events[1].size_db, 6, 1) << bench.story();
    EXPECT_LT(std::chrono::abs(*bench.events[1].onset - worse), 10min) << bench.story();
    bench.run(2 * 24h);
    EXPECT_EQ(bench.events.size(), 2U) << bench.story();
    bench.air = {};
    bench.run(24h);
    EXPECT_EQ(bench.count(Change::cleared), 1) << bench.story();
  }
}

TEST(Suspicions, ANewBaselineSaysSo) {
  Bench bench(6);
  bench.run(3 * 24h);
  bench.air = {.in = -5};
  bench.run(5h);
  ASSERT_EQ(bench.events.size(), 1U) << bench.story();
  bench.suspicions.rebaseline();
  bench.run(30min);
  ASSERT_EQ(bench.events.size(), 2U) << bench.story();
  EXPECT_EQ(bench.events[1].change, Change::cleared);
  EXPECT_EQ(bench.events[1].text.find("back where they were"), std::string::npos) << bench.events[1].text;
  EXPECT_EQ(bench.events[1].text.find("three weeks"), std::string::npos) << bench.events[1].text;
  EXPECT_NE(bench.events[1].text.find("usual"), std::string::npos) << bench.events[1].text;
  bench.run(3 * 24h);
  EXPECT_EQ(bench.events.size(), 2U) << bench.story();
}

TEST(Suspicions, InUpkeepNothingIsSuspected) {
  Bench bench(8);
  bench.run(3 * 24h);
  bench.judged = false;
  bench.air = {.in = -25, .out = -25, .near_noise = 8, .lost_in = 0.3};
  bench.run(30h);
  bench.judged = true;
  bench.air = {};
  bench.suspicions.settle();
  bench.run(3 * 24h);
  EXPECT_TRUE(bench.events.empty()) << bench.story();
}

TEST(Suspicions, ARestartRaisesNothingAnewAndLosesNothing) {
  Bench bench(9);
  bench.run(3 * 24h);
  bench.air = {.near_noise = 5};
  bench.run(3h);
  ASSERT_EQ(bench.events.size(), 1U);
  std::string bytes, book;
  ArchiveWriter writer(bytes);
  bench.suspicions.archive(writer);
  bench.suspicions = Suspicions{};
  ArchiveReader reader(bytes);
  bench.suspicions.archive(reader);
  ASSERT_TRUE(reader.ok() && reader.at_end());
  bench.run(2h);
  EXPECT_EQ(bench.events.size(), 1U) << bench.story();
  bench.air = {};
  bench.run(3h);
  EXPECT_EQ(bench.events.size(), 2U) << bench.story();
  EXPECT_EQ(bench.events.back().change, Change::cleared);
}

}  // namespace
}  // namespace fadeward::judge::suspicions_test
