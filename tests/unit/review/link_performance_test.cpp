#include "fadeward/review/link_performance.hpp"

#include <gtest/gtest.h>

namespace fadeward::review::link_performance_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{std::chrono::hours{24 * 23000}};  // some midnight
constexpr Time quarter(int i) { return kStart + 15min * i; }

/// Quarter hours [from, to) with 90 frames each.
void hear(std::vector<Slot>& slots, int from, int to, std::uint32_t lost = 0) {
  for (int i = from; i < to; ++i)
    slots.push_back({quarter(i), 15min, 90 - lost, lost, true, false});
}

const std::vector<Slot> kNever;

PerformanceInput input_of(const std::vector<Slot>& in, const std::vector<Slot>& out, int end) {
  PerformanceInput input;
  input.slots = {&in, &out};
  input.from = kStart;
  input.to = quarter(end);
  return input;
}

// 96 quarter hours; silent from 20 to 32: twelve in a row, three hours.
TEST(LinkPerformance, SilenceIsAnOutage) {
  std::vector<Slot> in, out;
  for (auto* one : {&in, &out}) {
    hear(*one, 0, 20);
    hear(*one, 32, 96);
  }
  std::vector<Episode> episodes(2);
  episodes[0].from = quarter(20);
  episodes[0].to = quarter(32);
  episodes[0].alert = AlertName::LinkSilent;
  episodes[0].severity = Severity::critical;
  episodes[0].cause = Cause::silent;
  episodes[1].from = quarter(17);
  episodes[1].alert = AlertName::EquipmentSuspected;
  episodes[1].severity = Severity::warning;
  episodes[1].cause = Cause::far_transmit;
  episodes[1].text = "only the inbound signal is lower";
  auto input = input_of(in, out, 96);
  input.episodes = &episodes;
  const LinkPerformance all = link_performance(input);
  EXPECT_EQ(*all.interval, Duration{15min});
  for (std::size_t way = 0; way <= kBothWays; ++way) {
    EXPECT_EQ(all.total[way].unavailable, 12u);
    EXPECT_EQ(all.total[way].available, 84u);
    EXPECT_DOUBLE_EQ(*all.total[way].availability(), 84.0 / 96);
  }
  ASSERT_EQ(all.outages.size(), 1u);
  EXPECT_EQ(all.outages[0].from, quarter(20));
  EXPECT_EQ(all.outages[0].to, quarter(32));
  EXPECT_EQ(all.outages[0].unavailable, Duration{3h});
  EXPECT_FALSE(all.outages[0].direction);
  EXPECT_FALSE(all.outages[0].open);
  EXPECT_EQ(all.outages[0].cause, Cause::far_transmit)
      << "what was seen before it went quiet tells more than that it was quiet";
}

// The sequences of the ten-second rule (ITU-T G.826 Annex A, worked out on paper) as quarter hours
// that a link had: E lost just 30 % of its frames, or was silent; in a clean one just less was lost
// or nothing.
TEST(LinkPerformance, SequencesOfTheRule) {
  struct Case {
    std::vector<std::pair<int, char>> runs;
    std::uint64_t unavailable, severe;
    std::vector<std::pair<int, int>> outages;
  };
  const Case cases[] = {
      {{{20, '.'}, {9, 'E'}, {10, '.'}}, 0, 9, {}},
      {{{20, '.'}, {10, 'E'}, {10, '.'}}, 10, 0, {{20, 30}}},
      {{{20, '.'}, {15, 'E'}, {10, '.'}}, 15, 0, {{20, 35}}},
      {{{20, '.'}, {10, 'E'}, {9, '.'}, {1, 'E'}, {10, '.'}}, 20, 0, {{20, 40}}},
      {{{20, '.'}, {10, 'E'}, {10, '.'}, {9, 'E'}, {10, '.'}}, 10, 9, {{20, 30}}},
      {{{20, '.'}, {2, 'E'}, {1, '.'}, {2, 'E'}, {10, '.'}}, 0, 4, {}},
      {{{20, '.'}, {3, 'E'}, {1, '.'}, {3, 'E'}, {10, '.'}}, 0, 6, {}},
  };
  for (const bool silent : {false, true})
    for (const Case& one : cases) {
      std::vector<Slot> in;
      int at = 0;
      for (const auto& [count, letter] : one.runs) {
        if (letter == '.') hear(in, at, at + count, silent ? 0 : 26);
        if (letter == 'E' && !silent) hear(in, at, at + count, 27);
        at += count;
      }
      const LinkPerformance all = link_performance(input_of(in, kNever, at));
      ASSERT_EQ(all.interval, Duration{15min});
      const Tally& got = all.total[0];
      const std::string which = std::to_string(&one - cases) + (silent ? " silent" : " lossy");
      EXPECT_EQ(got.unavailable, one.unavailable) << which;
      EXPECT_EQ(got.severely_errored, one.severe) << which;
      EXPECT_EQ(got.available, static_cast<std::uint64_t>(at) - one.unavailable) << which;
      EXPECT_EQ(got.errored, silent ? one.severe : got.available) << which;
      ASSERT_EQ(all.outages.size(), one.outages.size()) << which;
      for (std::size_t i = 0; i < one.outages.size(); ++i) {
        EXPECT_EQ(all.outages[i].from, quarter(one.outages[i].first)) << which;
        EXPECT_EQ(all.outages[i].to, quarter(one.outages[i].second)) << which;
      }
    }
}

// Frame numbers tell of lost frames when the site is heard again; they did not cause the silence.
TEST(LinkPerformance, WhatTheOutageLeftBehindIsNotItsCause) {
  std::vector<Slot> in;
  hear(in, 0, 20);
  hear(in, 40, 96);
  std::vector<Episode> episodes(3);
  episodes[2].from = quarter(2);
  episodes[2].alert = AlertName::BudgetDeficit;
  episodes[2].severity = Severity::warning;
  episodes[2].cause = Cause::path;
  episodes[0].from = quarter(20) - 3min;
  episodes[0].to = quarter(40);
  episodes[0].alert = AlertName::LinkSilent;
  episodes[0].severity = Severity::critical;
  episodes[0].cause = Cause::silent;
  episodes[1].from = quarter(40) - 1min;
  episodes[1].alert = AlertName::LossHigh;
  episodes[1].severity = Severity::warning;
  episodes[1].cause = Cause::collisions;
  auto input = input_of(in, kNever, 96);
  input.episodes = &episodes;
  const LinkPerformance all = link_performance(input);
  ASSERT_EQ(all.outages.size(), 1u);
  EXPECT_EQ(all.outages[0].cause, Cause::silent);
}

TEST(LinkPerformance, WhenTheProgramDidNotRunNothingIsKnown) {
  std::vector<Slot> in, out;
  hear(in, 0, 20);
  hear(in, 40, 96);
  auto input = input_of(in, out, 96);
  input.gaps = {{quarter(20), quarter(40), ""}};
  const LinkPerformance all = link_performance(input);
  EXPECT_EQ(all.total[0].no_data, 20u);
  EXPECT_EQ(all.total[0].unavailable, 0u);
  EXPECT_DOUBLE_EQ(*all.total[kBothWays].availability(), 1);
  EXPECT_FALSE(all.known[1]) << "nobody ever reported the outbound levels";
  EXPECT_FALSE(all.total[1].availability());
}

// Six of fifteen minutes that two reasons cover are six minutes, not twelve.
TEST(LinkPerformance, GapsThatOverlapCountOnce) {
  std::vector<Slot> in;
  hear(in, 0, 20);
  hear(in, 21, 96);
  auto input = input_of(in, kNever, 96);
  input.gaps = {{quarter(20), quarter(20) + 6min, ""}, {quarter(20), quarter(20) + 6min, "mast"}};
  EXPECT_EQ(link_performance(input).total[0].severely_errored, 1u);
  input.gaps.push_back({quarter(20) + 5min, quarter(20) + 8min, "mast"});
  EXPECT_EQ(link_performance(input).total[0].no_data, 1u);
}

TEST(LinkPerformance, UpkeepIsLeftOut) {
  std::vector<Slot> in;
  hear(in, 0, 20);
  hear(in, 36, 96);
  auto input = input_of(in, kNever, 96);
  history::PeriodRecord upkeep;
  upkeep.from = quarter(20);
  upkeep.to = quarter(36);
  input.upkeep = {upkeep};
  const LinkPerformance all = link_performance(input);
  EXPECT_EQ(all.total[0].upkeep, 16u);
  EXPECT_EQ(all.total[0].unavailable, 0u);
}

// Quarter hours that say of themselves that somebody worked on the link, whatever they lost.
TEST(LinkPerformance, QuartersOfUpkeepAreLeftOut) {
  std::vector<Slot> in;
  hear(in, 0, 20);
  hear(in, 20, 36, 80);
  hear(in, 36, 96);
  for (int i = 20; i < 36; ++i) in[static_cast<std::size_t>(i)].upkeep = true;
  const LinkPerformance all = link_performance(input_of(in, kNever, 96));
  EXPECT_EQ(all.total[0].upkeep, 16u);
  EXPECT_EQ(all.total[0].unavailable, 0u);
  EXPECT_EQ(all.total[0].available, 80u);
}

// Intervals of five days lie across the ends of months: each counts once, where it begins.
TEST(LinkPerformance, AnIntervalBelongsToTheMonthInWhichItBegins) {
  std::vector<Slot> in;
  for (int half = 0; half < 2 * 200; ++half)
    in.push_back({kStart + 12h * half, 15min, 1, 0, true, false});
  const LinkPerformance all = link_performance(input_of(in, kNever, 96 * 200));
  ASSERT_EQ(*all.interval, Duration{120h});
  const Time first{kStart.time_since_epoch() / 120h * 120h};
  std::uint64_t sum = 0;
  ASSERT_GE(all.months.size(), 7u);
  for (const PerformanceMonth& month : all.months) {
    std::uint64_t begun = 0;
    for (Time at = first; at < quarter(96 * 200); at += 120h)
      begun += at >= month.from && at < month.to;
    EXPECT_EQ(month.tallies[0].available, begun);
    sum += begun;
  }
  EXPECT_EQ(sum, all.total[0].available);
}

// G.826: severely errored from 30 % on; 27 of 90 is just that.
TEST(LinkPerformance, ThirtyPercentIsSevere) {
  std::vector<Slot> in;
  hear(in, 0, 50);
  hear(in, 50, 51, 26);
  hear(in, 51, 52, 27);
  hear(in, 52, 96);
  const LinkPerformance all = link_performance(input_of(in, kNever, 96));
  EXPECT_EQ(all.total[0].errored, 2u);
  EXPECT_EQ(all.total[0].severely_errored, 1u);
}

// The far end's own report is missing while the link is heard: that way is not known.
TEST(LinkPerformance, WhatNobodyReportsIsNotAnOutage) {
  std::vector<Slot> in, out;
  hear(in, 0, 96);
  hear(out, 0, 30);
  const LinkPerformance all = link_performance(input_of(in, out, 96));
  EXPECT_EQ(all.total[1].no_data, 66u);
  EXPECT_EQ(all.total[1].unavailable, 0u);
  EXPECT_EQ(all.total[kBothWays].available, 96u);
}

TEST(LinkPerformance, OneWayOnly) {
  std::vector<Slot> in, out;
  hear(in, 0, 96);
  hear(out, 0, 40);
  hear(out, 40, 60, 60);  // two in three lost
  hear(out, 60, 96);
  const LinkPerformance all = link_performance(input_of(in, out, 96));
  EXPECT_EQ(all.total[0].unavailable, 0u);
  EXPECT_EQ(all.total[1].unavailable, 20u);
  EXPECT_EQ(all.total[kBothWays].unavailable, 20u);
  ASSERT_EQ(all.outages.size(), 1u);
  EXPECT_EQ(all.outages[0].direction, Direction::outbound);
}

// A site that reports every hour: twelve frames in half a day.
TEST(LinkPerformance, HourlySitesNeedLongIntervals) {
  std::vector<Slot> in;
  for (int hour = 0; hour < 24 * 60; ++hour)
    in.push_back({kStart + 1h * hour, 15min, 1, 0, true, false});
  const LinkPerformance all = link_performance(input_of(in, kNever, 96 * 60));
  EXPECT_EQ(*all.interval, Duration{12h});
  EXPECT_EQ(all.total[0].available, 120u);
  EXPECT_EQ(all.total[0].errored, 0u);
}

TEST(LinkPerformance, NothingAtAll) {
  const LinkPerformance all = link_performance(input_of(kNever, kNever, 96));
  EXPECT_FALSE(all.interval);
  EXPECT_TRUE(all.outages.empty());
}

}  // namespace
}  // namespace fadeward::review::link_performance_test
