// Merged equals what one would hold that had taken all values.
#include "fadeward/history/summary.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "sample_bins.hpp"

namespace fadeward::history::summary_test {
namespace {

using test::at;
using test::kApril2031;

TEST(Levels, MergedEqualOneBuiltOfAllValues) {
  const std::uint32_t seed = 20310401;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::normal_distribution<double> normal(0, 4);
  Levels whole, merged;
  std::vector<double> all;
  for (int bin = 0; bin < 500; ++bin) {
    LevelHistogram part;
    const double level = -100 + 20 * std::sin(bin / 50.0);
    for (int i = 0; i < 90; ++i) {
      const double value = std::round(100 * (level + normal(random))) / 100;
      part.add(value);
      whole.add(value);
      all.push_back(value);
    }
    merged.merge(part);
  }
  EXPECT_TRUE(merged == whole);

  // Against the values themselves: exact moments, quantiles within the width of a cell.
  double sum = 0, square = 0;
  for (const double value : all) sum += value;
  const double mean = sum / static_cast<double>(all.size());
  for (const double value : all) square += (value - mean) * (value - mean);
  EXPECT_NEAR(*merged.mean_db(), mean, 1e-9);
  EXPECT_NEAR(*merged.deviation_db(), std::sqrt(square / static_cast<double>(all.size() - 1)),
              1e-6);
  std::ranges::sort(all);
  for (const double q : {0.01, 0.1, 0.5, 0.9, 0.99})
    EXPECT_NEAR(*merged.quantile_db(q),
                all[static_cast<std::size_t>(q * static_cast<double>(all.size()))], 0.5)
        << q;
}

// By hand: the middles of the occupied cells stand at 15 and 40 of 50 and the quantile lies on the
// line between them; below the first and above the last it is theirs.
TEST(Levels, QuantilesLieBetweenTheMiddlesOfCells) {
  Levels levels;
  levels.add(10, 30);
  levels.add(20, 20);
  EXPECT_DOUBLE_EQ(*levels.quantile_db(0.5), 14);
  EXPECT_DOUBLE_EQ(*levels.quantile_db(0.7), 18);
  EXPECT_DOUBLE_EQ(*levels.quantile_db(0.01), 10);
  EXPECT_DOUBLE_EQ(*levels.quantile_db(0.99), 20);
}

TEST(Levels, CountBeyondWhatABinsCellHolds) {
  LevelHistogram part;
  part.add(-100, 60000);
  Levels levels;
  for (int i = 0; i < 100000; ++i) levels.merge(part);
  EXPECT_EQ(levels.total(), 6000000000U);
  EXPECT_EQ(levels.cells()[static_cast<std::size_t>(-200 - levels.first_cell())], 6000000000U);
  EXPECT_DOUBLE_EQ(*levels.mean_db(), -100);
  EXPECT_DOUBLE_EQ(*levels.deviation_db(), 0);
}

TEST(Levels, SayNothingWhileEmpty) {
  const Levels levels;
  EXPECT_FALSE(levels.mean_db() || levels.deviation_db() || levels.quantile_db(0.5));
  Levels one;
  one.add(-7.3);
  EXPECT_FALSE(one.deviation_db());
  EXPECT_DOUBLE_EQ(*one.mean_db(), -7.3);
  EXPECT_DOUBLE_EQ(*one.quantile_db(0.5), -7.5);
}

TEST(Summary, AddsEverythingUp) {
  test::BinMaker maker(3, 10);
  Summary sum;
  std::uint64_t frames = 0, lost = 0, channel_frames = 0;
  for (int i = 0; i < 96; ++i) {
    Bin bin = maker.make(at(kApril2031) + kBinSpan * i);
    bin.upkeep = i < 4;
    frames += bin.frames;
    lost += bin.lost;
    sum.merge(bin);
  }
  sum.merge(Bin{});  // an empty one is no quarter hour
  EXPECT_EQ(sum.quarters, 96U);
  EXPECT_EQ(sum.upkeep_quarters, 4U);
  EXPECT_EQ(sum.frames, frames);
  EXPECT_EQ(sum.lost, lost);
  EXPECT_EQ(sum.margin.total(), frames);
  ASSERT_EQ(sum.rates.size(), 1U);
  EXPECT_EQ(sum.rates[0].frames, frames);
  ASSERT_EQ(sum.channels.size(), 10U);
  for (const ChannelTotal& channel : sum.channels) channel_frames += channel.frames;
  EXPECT_EQ(channel_frames, frames);
  EXPECT_DOUBLE_EQ(*sum.loss_ratio(),
                   static_cast<double>(lost) / static_cast<double>(frames + lost));
}

TEST(Summary, HoldsTogetherHoweverItIsMerged) {
  test::BinMaker maker(4, 5);
  Summary day, hours;
  for (int hour = 0; hour < 24; ++hour) {
    Summary one;
    for (int i = 0; i < 4; ++i) {
      Bin bin = maker.make(at(kApril2031) + kBinSpan * (4 * hour + i));
      bin.upkeep = hour < 2;
      bin.failures = static_cast<std::uint32_t>(i);
      one.merge(bin);
      day.merge(bin);
    }
    hours.merge(one);
  }
  EXPECT_TRUE(day.margin == hours.margin);
  EXPECT_TRUE(day.noise == hours.noise);
  EXPECT_TRUE(day.signal == hours.signal);
  EXPECT_EQ(day.frames, hours.frames);
  EXPECT_EQ(day.lost, hours.lost);
  EXPECT_EQ(day.sent, hours.sent);
  EXPECT_EQ(day.retries, hours.retries);
  EXPECT_EQ(hours.failures, 24U * (0 + 1 + 2 + 3));
  EXPECT_EQ(day.quarters, hours.quarters);
  EXPECT_EQ(hours.upkeep_quarters, 2U * 4);
  EXPECT_EQ(*day.margin.quantile_db(0.01), *hours.margin.quantile_db(0.01));
}

// Contract section 2: where retries are all that is known they are an upper bound of what was lost.
TEST(Summary, LossByRetriesIsTheShareOfRepeats) {
  Summary sum;
  Bin bin;
  bin.frames = 10;
  bin.sent = 80;
  bin.retries = 20;
  bin.loss_source = LossSource::retries;
  sum.merge(bin);
  EXPECT_DOUBLE_EQ(sum.loss_ratio().value_or(-1), 0.25);
  EXPECT_DOUBLE_EQ(sum.retry_ratio().value_or(-1), 0.25);
  bin.retries = 500;  // a counter that makes no sense
  sum.merge(bin);
  EXPECT_DOUBLE_EQ(*sum.retry_ratio(), 1);
}

TEST(Summary, KnowsNoLossWithoutASource) {
  Summary sum;
  Bin bin;
  bin.frames = 10;
  sum.merge(bin);
  EXPECT_FALSE(sum.loss_ratio());
  EXPECT_FALSE(sum.retry_ratio());
}

TEST(BinMerge, EqualsOneThatTookAllFrames) {
  Bin first, second, whole;
  first.start = second.start = whole.start = at(kApril2031);
  std::mt19937 random(8);
  std::normal_distribution<double> normal(-100, 3);
  for (int i = 0; i < 200; ++i) {
    const double level = normal(random);
    Bin& part = i < 70 ? first : second;
    for (Bin* bin : {&part, &whole}) {
      bin->signal.add(level);
      ++bin->frames;
      bin->sent += 2;
      ++bin->retries;
      bin->rates[0] = {14, true, 7, 125000, bin->frames};
    }
  }
  second.upkeep = whole.upkeep = true;
  first.channels = {{1, 2, -200, -230}};
  second.channels = {{4, 1, -90, -115}, {1, 1, -99, -116}};
  first.merge(second);
  EXPECT_EQ(first.frames, whole.frames);
  EXPECT_EQ(first.sent, whole.sent);
  EXPECT_EQ(first.retries, whole.retries);
  EXPECT_TRUE(first.upkeep);
  EXPECT_EQ(first.rates[0].frames, 200U);
  EXPECT_EQ(first.rates[1].frames, 0U);
  ASSERT_EQ(first.channels.size(), 2U);
  EXPECT_EQ(first.channels[0].frames, 3);
  EXPECT_FLOAT_EQ(first.channels[0].signal_sum_dbm, -299);
  Levels a, b;
  a.merge(first.signal);
  b.merge(whole.signal);
  EXPECT_TRUE(a == b);
}

}  // namespace
}  // namespace fadeward::history::summary_test
