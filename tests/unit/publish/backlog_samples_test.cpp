// Backlog batches against the bins that were stored, and against the export of the same history.
#include "fadeward/publish/backlog_samples.hpp"

#include <gtest/gtest.h>

#include <set>
#include <string>

#include "fadeward/history/store.hpp"
#include "fadeward/publish/history_export.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/sample_bins.hpp"

namespace fadeward::publish::backlog_samples_test {
namespace {

using namespace std::chrono_literals;
using test::at;
using test::BinMaker;
using test::kApril2031;

class Backlog : public ::testing::Test {
 protected:
  void SetUp() override {
    const auto store = std::move(history::Store::open(dir_ / "h", {})).value();
    BinMaker maker(5);
    history::Batch batch;
    for (int quarter = 0; quarter < 10; ++quarter) {
      if (quarter == 4) continue;
      const Bin bin = maker.make(start + kBinSpan * quarter, 40 + quarter);
      batch.bins.push_back({"weir", Direction::inbound, bin});
      batch.bins.push_back({"other", Direction::outbound, bin});
    }
    ASSERT_TRUE(store->write(batch));
  }
  void read(Duration from, Duration to, bool too_old = false) {
    auto reader = std::move(history::Reader::open(dir_ / "h")).value();
    samples.begin({start + from, start + to, too_old}, {"weir", "nobody"});
    int steps = 1;
    while (samples.step(reader, {{"gateway", "g"}})) ++steps;
    EXPECT_EQ(steps, 4) << "two links, two directions";
  }
  std::size_t moments_with_samples() const {
    std::size_t out = 0;
    const WriteBatch& batch = samples.batch();
    for (std::uint32_t m = 0; m < batch.moments(); ++m) out += batch.count({0, batch.series(), m, m + 1}) > 0;
    return out;
  }
  const Time start = at(kApril2031);
  test::TempDir dir_;
  BacklogSamples samples;
};

TEST_F(Backlog, HoldsTheQuarterHoursThatEndInTheSpan) {
  read(15min, 90min);   // ends at 30, 45, 60, (75: none stored,) 90 min
  EXPECT_EQ(samples.batch().moments(), 5U);
  EXPECT_EQ(moments_with_samples(), 4U);
  EXPECT_EQ(samples.counted(), samples.batch().size());
  EXPECT_LE(samples.batch().series(), backlog_quantities());
  EXPECT_GE(samples.batch().series(), 4U);
}

TEST_F(Backlog, HasAsManySamplesAsTheExportHasGauges) {
  read(0min, 150min);
  auto reader = std::move(history::Reader::open(dir_ / "h")).value();
  std::string text;
  export_history(reader, {{"weir"}, start, start + 150min}, [&text](std::string_view part) {
    text += part;
    return true;
  });
  std::size_t gauges = 0;
  for (std::size_t begin = 0; begin < text.size();) {
    const auto end = text.find('\n', begin);
    const std::string line = text.substr(begin, end - begin);
    const bool live = line.find("_total{") == line.npos && line.find("_deviation_") == line.npos;
    gauges += line.starts_with("fadeward_") && live;
    begin = end + 1;
  }
  EXPECT_EQ(samples.batch().size(), gauges);
  EXPECT_GT(gauges, 30U);
}

TEST_F(Backlog, WhatIsTooOldIsOnlyCounted) {
  read(0min, 150min);
  const auto counted = samples.counted();
  read(0min, 150min, true);
  EXPECT_EQ(samples.counted(), counted);
  EXPECT_EQ(samples.batch().size(), 0U);
}

TEST_F(Backlog, NothingStoredIsAnEmptyBatch) {
  read(24h, 25h);
  EXPECT_EQ(samples.batch().size(), 0U);
  EXPECT_FALSE(samples.reading());
}

}  // namespace
}  // namespace fadeward::publish::backlog_samples_test
