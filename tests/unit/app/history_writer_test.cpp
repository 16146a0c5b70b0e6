// The writer keeps what the disk does not take, within bounds, and says so once.
#include "fadeward/app/history_writer.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <thread>

#include "fadeward/history/reader.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/fault_vfs.hpp"

namespace fadeward::app::history_writer_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart = Time{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}};

struct Said {
  std::mutex mutex;
  std::vector<std::string> lines;
  HistoryWriter::Log log() {
    return [this](HistoryWriter::Tone, const std::string& text) {
      const std::lock_guard guard(mutex);
      lines.push_back(text);
    };
  }
  std::size_t size() {
    const std::lock_guard guard(mutex);
    return lines.size();
  }
};

history::Batch quarter(int q, std::size_t links = 1) {
  history::Batch batch;
  for (std::size_t l = 0; l < links; ++l) {
    Bin bin;
    bin.start = kStart + kBinSpan * q;
    bin.frames = 10;
    batch.bins.push_back({"L" + std::to_string(l), Direction::inbound, bin});
  }
  batch.at = kStart + kBinSpan * (q + 1);
  return batch;
}

std::size_t kept(const std::string& dir) {
  auto reader = history::Reader::open(dir);
  if (!reader) return 0;
  std::size_t bins = 0;
  for (const std::string& link : reader->links())
    reader->bins(link, Direction::inbound, Time::min(), Time::max(),
                 [&](const history::Summary&) { ++bins; });
  return bins;
}

TEST(HistoryWriter, WritesWhatItWasGivenBeforeItEnds) {
  const test::TempDir dir;
  Said said;
  auto writer = std::move(HistoryWriter::open(dir / "h", {}, said.log())).value();
  for (int q = 0; q < 200; ++q) writer->push(quarter(q), kStart + kBinSpan * (q + 1));
  EXPECT_TRUE(writer->finish());
  EXPECT_EQ(kept(dir / "h"), 200U);
  EXPECT_EQ(writer->errors(), 0U);
  EXPECT_EQ(writer->dropped(), 0U);
  EXPECT_TRUE(said.lines.empty());
}

TEST(HistoryWriter, WaitsForADiskThatDoesNotTakeIt) {
  const test::TempDir dir;
  Said said;
  auto writer = std::move(HistoryWriter::open(dir / "h", {}, said.log())).value();
  std::filesystem::remove(dir / "h");
  dir.file("h", "in the way");
  writer->push(quarter(0), kStart + kBinSpan);
  for (int i = 0; i < 500 && writer->errors() == 0; ++i) std::this_thread::sleep_for(10ms);
  EXPECT_EQ(writer->errors(), 1U);
  writer->push(quarter(1), kStart + 2 * kBinSpan);  // no attempt before its time
  std::this_thread::sleep_for(50ms);
  EXPECT_EQ(writer->errors(), 1U);
  std::filesystem::remove(dir / "h");
  std::filesystem::create_directory(dir / "h");
  for (int i = 0; i < 1000 && said.size() < 2; ++i) std::this_thread::sleep_for(10ms);
  ASSERT_EQ(said.size(), 2U);
  EXPECT_NE(said.lines[0].find("cannot be written"), std::string::npos) << said.lines[0];
  EXPECT_NE(said.lines[1].find("written again"), std::string::npos) << said.lines[1];
  EXPECT_TRUE(writer->finish());
  EXPECT_EQ(kept(dir / "h"), 2U);
}

TEST(HistoryWriter, CountsADiskThatFailsRecoversAndFailsAgainAndKeepsAll) {
  const test::TempDir dir;
  test::FaultVfs disk("writer");
  Said said;
  history::StoreOptions options;
  options.vfs = disk.name();
  auto writer = std::move(HistoryWriter::open(dir / "h", options, said.log())).value();
  const auto wait_for_errors = [&](std::uint64_t errors) {
    for (int i = 0; i < 500 && writer->errors() < errors; ++i) std::this_thread::sleep_for(10ms);
    EXPECT_EQ(writer->errors(), errors);
  };
  disk.broken = true;
  writer->push(quarter(0), kStart + kBinSpan);
  wait_for_errors(1);
  disk.broken = false;
  for (int i = 0; i < 1000 && said.size() < 2; ++i) std::this_thread::sleep_for(10ms);
  ASSERT_EQ(said.size(), 2U) << "failed, and written again";
  std::this_thread::sleep_for(300ms);  // its housekeeping is over
  disk.broken = true;
  writer->push(quarter(1), kStart + 2 * kBinSpan);
  wait_for_errors(2);
  writer->push(quarter(2), kStart + 3 * kBinSpan);
  disk.broken = false;
  EXPECT_TRUE(writer->finish());
  EXPECT_EQ(writer->errors(), 2U);
  EXPECT_EQ(writer->dropped(), 0U);
  EXPECT_EQ(kept(dir / "h"), 3U);
  ASSERT_EQ(said.size(), 4U) << "each trouble once, each end once";
  for (const std::size_t line : {0U, 2U})
    EXPECT_NE(said.lines[line].find("cannot be written"), std::string::npos) << said.lines[line];
  for (const std::size_t line : {1U, 3U})
    EXPECT_NE(said.lines[line].find("again after 1 failed"), std::string::npos) << said.lines[line];
}

/// Periods are kept in the month in which they are told, not in one that a wrong clock once showed.
TEST(HistoryWriter, ForgetsAWrongTimeWithWhatWasWritten) {
  const test::TempDir dir;
  Said said;
  auto writer = std::move(HistoryWriter::open(dir / "h", {}, said.log())).value();
  history::Batch wrong = quarter(0);
  wrong.bins[0].bin.start += std::chrono::hours{24} * 365 * 9;
  wrong.at = wrong.bins[0].bin.start + kBinSpan;
  const Time then = wrong.at;
  writer->push(std::move(wrong), then);
  for (int i = 0; i < 500 && kept(dir / "h") == 0; ++i) std::this_thread::sleep_for(10ms);
  ASSERT_EQ(kept(dir / "h"), 1U);
  history::Batch right;
  right.periods.push_back(
      {history::PeriodKind::upkeep, "L0", {}, kStart, kStart + kBinSpan, {}, "mast work"});
  right.at = kStart;
  writer->push(std::move(right), kStart);
  EXPECT_TRUE(writer->finish());
  EXPECT_TRUE(std::filesystem::exists(dir / "h/history-2031-04.sqlite"));
}

TEST(HistoryWriter, CountsWhatTheStoreRefuses) {
  const test::TempDir dir;
  Said said;
  auto writer = std::move(HistoryWriter::open(dir / "h", {}, said.log())).value();
  history::Batch batch = quarter(0, 3);
  batch.bins[1].bin.start = Time{900s};  // 1970
  writer->push(std::move(batch), kStart);
  EXPECT_TRUE(writer->finish());
  EXPECT_EQ(writer->dropped(), 1U);
  EXPECT_EQ(writer->errors(), 0U);
  EXPECT_EQ(kept(dir / "h"), 2U);
}

TEST(HistoryWriter, KeepsTheNewestWhenTooMuchWaits) {
  const test::TempDir dir;
  Said said;
  auto writer = std::move(HistoryWriter::open(dir / "h", {}, said.log())).value();
  std::filesystem::remove(dir / "h");
  dir.file("h", "in the way");
  for (int q = 0; q < 12; ++q) writer->push(quarter(q, 1000), kStart + kBinSpan * (q + 1));
  std::filesystem::remove(dir / "h");
  std::filesystem::create_directory(dir / "h");
  EXPECT_TRUE(writer->finish());
  EXPECT_EQ(writer->dropped(), 12000 - HistoryWriter::kMostBins);
  auto reader = std::move(history::Reader::open(dir / "h")).value();
  const auto begin_of = [&](const std::string& link) {
    std::optional<Time> first;
    reader.bins(link, Direction::inbound, Time::min(), Time::max(), [&](const history::Summary& bin) {
      first = std::min(first.value_or(bin.start), bin.start);
    });
    return first;
  };
  // The last eight quarters of every link, and of the one before only the links that came last.
  EXPECT_EQ(begin_of("L0"), kStart + 4 * kBinSpan);
  EXPECT_EQ(begin_of("L999"), kStart + 3 * kBinSpan);
}

TEST(HistoryWriter, SaysThatADiskTookNothing) {
  const test::TempDir dir;
  Said said;
  auto writer = std::move(HistoryWriter::open(dir / "h", {}, said.log())).value();
  std::filesystem::remove(dir / "h");
  dir.file("h", "in the way");
  writer->push(quarter(0), kStart + kBinSpan);
  EXPECT_FALSE(writer->finish());
}

}  // namespace
}  // namespace fadeward::app::history_writer_test
