// The door for quarter hours: every frame is in exactly one of them, over restarts and clock steps.
#include <gtest/gtest.h>

#include <map>

#include "fadeward/judge/supervisor.hpp"
#include "support/weir.hpp"

namespace fadeward::judge::quarter_hours_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart = Time{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}} + 10h;

/// A gateway with a report every ten seconds, and what its history would hold.
struct Gateway {
  explicit Gateway(Time wall, const Settings& links = test::weir_settings(), const std::string& boot = "")
      : now{wall, 1000s}, core(links, now, options(boot)) {}

  static SupervisorOptions options(const std::string& boot = "") {
    SupervisorOptions out;
    out.keep_bins = true;
    out.boot = boot;
    return out;
  }
  void listen(Duration span) {
    for (const Time end = now.wall + span; now.wall < end;) {
      LinkReport report = test::weir_report(++seq);
      if (both_ways) report.set(Field::far_rssi_dbm, -90 - static_cast<double>(seq % 2));
      core.take(report, now);
      ++frames;
      pass(10s);
    }
  }
  void pass(Duration span) {
    now.wall += span;
    now.steady += span;
    core.tick(now);
    core.clear_events();
  }
  void collect() {
    core.take_bins([&](LinkIndex link, Direction direction, Bin& bin) {
      EXPECT_EQ(link, 0U);
      if (direction != Direction::inbound) return;
      EXPECT_EQ(bin.start.time_since_epoch() % kBinSpan, Duration{});
      EXPECT_EQ(bin.margin.total(), bin.frames) << format_rfc3339(bin.start);
      bins[bin.start] += bin.frames;
      if (bin.upkeep) upkeep.push_back(bin.start - kStart);
      kept += bin.frames;
    });
  }

  Instant now;
  Supervisor core;
  bool both_ways = false;
  std::uint64_t seq = 0, frames = 0, kept = 0;
  std::map<Time, std::uint64_t> bins;
  std::vector<Duration> upkeep;  ///< since kStart
};

TEST(QuarterHours, ComeWithTheFirstTickAfterTheirEnd) {
  Gateway gateway(kStart);
  gateway.listen(1h);
  gateway.pass(1min);
  gateway.collect();
  const std::map<Time, std::uint64_t> wanted = {
      {kStart, 90}, {kStart + 15min, 90}, {kStart + 30min, 90}, {kStart + 45min, 90}};
  EXPECT_EQ(gateway.bins, wanted);
  gateway.collect();  // once is enough
  EXPECT_EQ(gateway.kept, 360U);
  EXPECT_EQ(gateway.core.bins_dropped(), 0U);
}

TEST(QuarterHours, AreNotKeptForNobody) {
  Gateway gateway(kStart);
  gateway.core = Supervisor(test::weir_settings(), gateway.now);
  gateway.listen(1h);
  gateway.pass(1min);
  gateway.collect();
  EXPECT_EQ(gateway.kept, 0U);
  EXPECT_EQ(gateway.core.bins_dropped(), 0U);
}

TEST(QuarterHours, TheOpenOneSurvivesARestart) {
  for (const Duration away : {Duration{2min}, Duration{20min}, Duration{26h}, Duration{24h * 30}}) {
    SCOPED_TRACE(format_span(away));
    Gateway before(kStart);
    before.listen(40min);
    before.collect();
    EXPECT_EQ(before.kept, 180U);
    const std::string state = before.core.save();

    Gateway after(before.now.wall + away);
    ASSERT_TRUE(after.core.restore(state, after.now));
    static_cast<void>(after.core.snapshot(after.now));
    after.seq = before.seq + 6;
    after.listen(30min);
    after.pass(15min);
    after.collect();
    EXPECT_EQ(before.kept + after.kept, before.frames + after.frames);
    EXPECT_GE(after.bins[kStart + 30min], 60U);
  }
}

TEST(QuarterHours, NotFetchedYetMoveWithTheClock) {
  Gateway gateway(Time{90s});
  gateway.listen(50min);
  gateway.now.wall = kStart + 50min;  // the clock is put right
  gateway.listen(20min);
  gateway.pass(15min);
  gateway.collect();
  EXPECT_EQ(gateway.kept, gateway.frames);
  EXPECT_LE(gateway.bins.size(), 6U);
  for (const auto& [start, frames] : gateway.bins) {
    EXPECT_GE(start, kStart - 15min);
    EXPECT_LE(start, kStart + 75min);
  }
}

TEST(QuarterHours, WithoutAClockComeWithItsTimes) {
  Gateway gateway(Time{0s});
  gateway.listen(50min);
  gateway.collect();
  const std::map<Time, std::uint64_t> wanted = {
      {Time{0s}, 90}, {Time{15min}, 90}, {Time{30min}, 90}};
  EXPECT_EQ(gateway.bins, wanted);
}

// The state tells the boot it was saved in: in the same one the steady clock says how long ago.
TEST(QuarterHours, TheOpenOneWithoutAClockIsOfItsBoot) {
  for (const bool same : {true, false}) {
    SCOPED_TRACE(same);
    Gateway before(Time{0s}, test::weir_settings(), "a");
    before.listen(40min);
    before.collect();
    const std::string state = before.core.save();
    Gateway after(Time{0s}, test::weir_settings(), same ? "a" : "b");
    // The clock was put right while nobody watched, or stands a minute after another boot.
    after.now = same ? Instant{kStart + 42min, before.now.steady + 2min} : Instant{Time{60s}, 60s};
    after.core = Supervisor(test::weir_settings(), after.now, Gateway::options(same ? "a" : "b"));
    ASSERT_TRUE(after.core.restore(state, after.now));
    after.seq = before.seq + 12;
    after.listen(30min);
    after.pass(15min);
    after.collect();
    if (same) {
      EXPECT_EQ(after.bins[kStart + 30min], 60U + 18U) << "ten minutes before, three after";
      EXPECT_EQ(after.core.bins_dropped(), 0U);
      EXPECT_EQ(before.kept + after.kept, before.frames + after.frames);
    } else {
      EXPECT_EQ(after.kept, after.frames) << "nothing of the other boot";
      EXPECT_EQ(after.core.bins_dropped(), 1U);
    }
  }
}

TEST(QuarterHours, CountEveryFrameOnceWhenTheClockSteps) {
  for (const Duration step : {Duration{-5s}, Duration{5s}, Duration{-7min}, Duration{10min},
                              Duration{-24h}, Duration{72h}}) {
    SCOPED_TRACE(duration_to_seconds(step));
    Gateway gateway(kStart);
    gateway.listen(32min);  // two minutes into a quarter hour
    gateway.collect();
    gateway.now.wall += step;
    gateway.listen(32min);
    gateway.pass(15min);
    gateway.collect();
    EXPECT_EQ(gateway.kept, gateway.frames);
  }
}

TEST(QuarterHours, OfARestartWithoutAClockKeepTheirTime) {
  Gateway before(kStart);
  before.listen(40min);
  before.collect();
  const std::string state = before.core.save();
  Gateway after(Time{60s});  // 1970 again
  ASSERT_TRUE(after.core.restore(state, after.now));
  after.seq = before.seq + 6;
  after.listen(5min);
  after.now.wall = kStart + 5h;
  after.listen(20min);
  after.pass(15min);
  after.collect();
  EXPECT_EQ(after.bins[kStart + 30min], 60U);
  EXPECT_EQ(before.kept + after.kept, before.frames + after.frames);
}

// A day of them is kept for whoever does not fetch them; what is more is counted, both ways.
TEST(QuarterHours, BeyondADayAreCounted) {
  Gateway gateway(kStart);
  gateway.both_ways = true;
  gateway.listen(26h);
  gateway.pass(1min);
  EXPECT_EQ(gateway.core.bins_dropped(), 2U * (26 * 4 - 24 * 4));
  gateway.collect();
  EXPECT_EQ(gateway.bins.size(), 96U);
  EXPECT_EQ(gateway.kept, 96U * 90);
}

TEST(QuarterHours, SayWhenSomebodyWorkedOnTheLink) {
  Settings with = test::weir_settings();
  with.links[0].upkeep = {{kStart + 20min, kStart + 40min, "mast work"}};
  Gateway gateway(kStart, with);
  gateway.listen(1h);
  gateway.pass(1min);
  gateway.collect();
  EXPECT_EQ(gateway.upkeep, (std::vector<Duration>{15min, 30min}));
}

TEST(QuarterHours, EndWithARecording) {
  Gateway gateway(kStart);
  gateway.listen(20min);
  gateway.core.end_bins();
  gateway.collect();
  EXPECT_EQ(gateway.kept, gateway.frames);
}

}  // namespace
}  // namespace fadeward::judge::quarter_hours_test
