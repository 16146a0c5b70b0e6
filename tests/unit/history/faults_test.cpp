// Disks that fail, files that are damaged: what had been written stays, what waits is written
// later.
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <random>

#include "fadeward/history/reader.hpp"
#include "fadeward/history/store.hpp"
#include "sample_bins.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/fault_vfs.hpp"

namespace fadeward::history::faults_test {
namespace {

using namespace std::chrono_literals;
using test::at;
using test::BinMaker;
using test::kApril2031;

Batch quarter(BinMaker& maker, int q) {
  Batch batch;
  batch.bins.push_back({"L1", Direction::inbound, maker.make(at(kApril2031) + kBinSpan * q)});
  batch.bins.push_back({"L1", Direction::outbound, maker.make(at(kApril2031) + kBinSpan * q)});
  return batch;
}

std::vector<Time> starts_in(const std::string& dir, std::vector<std::string>* problems = nullptr) {
  std::vector<Time> out;
  auto reader = Reader::open(dir);
  if (!reader) return out;
  reader->bins("L1", Direction::inbound, Time::min(), Time::max(),
               [&](const Summary& bin) { out.push_back(bin.start); });
  if (problems != nullptr) *problems = reader->problems();
  return out;
}

/// Two days with packing, the n-th operation and the two after it failing: nothing that was ever
/// accepted is missing afterwards, and what failed is taken at the next attempt.
class FailingDisk : public ::testing::TestWithParam<int> {};

TEST_P(FailingDisk, LosesNothingThatItTook) {
  test::FaultVfs disk("fault");
  disk.error = GetParam();
  long last = 0;
  for (long n = 1; last == 0 || n <= last; n += n < 40 ? 1 : 53) {
    SCOPED_TRACE("operation " + std::to_string(n));
    const test::TempDir dir;
    StoreOptions options;
    options.vfs = disk.name();
    int asides = 0;
    options.remark = [&](const std::string&) { ++asides; };
    auto store = std::move(Store::open(dir / "h", options)).value();
    disk.operations = 0;
    disk.fail_from = n;
    disk.fail_count = 3;
    BinMaker maker(1);
    int failures = 0;
    constexpr int kQuarters = 104;  // a day is packed on the way
    for (int q = 0; q < kQuarters; q += 4) {
      Batch batch = quarter(maker, q);
      int attempts = 0;
      while (!store->write(batch)) {
        ++failures;
        ASSERT_FALSE(batch.bins.empty());
        ASSERT_LT(++attempts, 10);
      }
      for (int turn = 0; turn < 10; ++turn) {
        const auto more = store->tidy(at(kApril2031) + kBinSpan * (q + 4));
        if (!more) ++failures;
        if (more && !*more) break;
      }
    }
    last = std::max(last, disk.operations);
    disk.fail_from = -1;
    store.reset();
    EXPECT_EQ(asides, 0);
    EXPECT_EQ(starts_in(dir / "h").size(), static_cast<std::size_t>(kQuarters / 4))
        << failures << " failures";
    if (::testing::Test::HasFailure()) break;
  }
  EXPECT_GT(last, 100);
}

/// As the writer's thread does it: what is not taken waits for the next quarter hour, which comes
/// behind it. One attempt each.
class Writing {
 public:
  Writing(const std::string& dir, StoreOptions options)
      : store_(std::move(Store::open(dir, std::move(options))).value()) {}

  void quarter_hour(int q) {
    waiting_.append(quarter(maker_, q));
    waiting_starts_.push_back(at(kApril2031) + kBinSpan * q);
    attempt();
    for (int turn = 0; turn < 10; ++turn) {
      const auto more = store_->tidy(at(kApril2031) + kBinSpan * (q + 1));
      if (!more || !*more) break;
    }
  }
  void attempt() {
    if (store_->write(waiting_)) {
      taken.insert(taken.end(), waiting_starts_.begin(), waiting_starts_.end());
      waiting_starts_.clear();
    } else {
      ++failures;
    }
  }
  std::uint64_t refused() const { return store_->refused(); }
  std::uint64_t set_aside() const { return store_->set_aside(); }

  std::vector<Time> taken;
  int failures = 0;  ///< attempts to write

 private:
  std::unique_ptr<Store> store_;
  BinMaker maker_{1};
  Batch waiting_;
  std::vector<Time> waiting_starts_;
};

/// The next run, on a disk that works, finds all of it sound; `taken` in order of time.
void expect_whole(const std::string& dir, const std::vector<Time>& taken) {
  int remarks = 0;
  StoreOptions options;
  options.remark = [&](const std::string&) { ++remarks; };
  auto store = std::move(Store::open(dir, options)).value();
  BinMaker maker(2);
  Batch next = quarter(maker, 200);
  EXPECT_TRUE(store->write(next));
  EXPECT_TRUE(store->close());
  EXPECT_EQ(remarks, 0) << "nothing is set aside";
  const auto found = starts_in(dir);
  EXPECT_TRUE(std::ranges::includes(found, taken)) << found.size() << " of " << taken.size();
}

/// The n-th operation fails, the disk recovers, soon after it the m-th fails again and the power
/// goes: what was taken is in the files as they lie there. Without the power cut, all is.
TEST_P(FailingDisk, FailsRecoversAndFailsAgainAndLosesNothingThatItTook) {
  test::FaultVfs disk("fault");
  disk.error = GetParam();
  int twice = 0;
  for (const long n : {1, 2, 5, 13, 34, 110, 200})
    for (const long m : {1, 2, 4, 9, 25, 60}) {
      SCOPED_TRACE("operation " + std::to_string(n) + ", then " + std::to_string(m));
      const test::TempDir dir;
      StoreOptions options;
      options.vfs = disk.name();
      Writing writing(dir / "h", options);
      disk.operations = 0;
      disk.fail_from = n;
      disk.fail_count = 1 + m % 3;
      bool first_over = false, second_over = false;
      constexpr int kQuarters = 104, kStep = 4;  // a day is packed on the way
      for (int q = 0; q < kQuarters; q += kStep) {
        const int failures = writing.failures;
        const long before = disk.operations;
        writing.quarter_hour(q);
        const bool hit =
            before < disk.fail_from + disk.fail_count && disk.operations >= disk.fail_from;
        // An operation that failed is an attempt that failed, or one of housekeeping.
        ASSERT_TRUE(hit || writing.failures == failures);
        const bool over = disk.operations >= disk.fail_from + disk.fail_count;
        if (!first_over && over && !writing.taken.empty() && writing.failures == failures) {
          first_over = true;
          disk.fail_from = disk.operations + m;
        } else if (first_over && !second_over && hit) {
          second_over = true;
          // What a power cut leaves: the files as they are, while the program still has them open.
          std::filesystem::copy(dir / "h", dir / "cut", std::filesystem::copy_options::recursive);
          expect_whole(dir / "cut", writing.taken);
        }
      }
      disk.fail_from = -1;
      writing.attempt();  // of what the last quarter hour left waiting
      const auto all = starts_in(dir / "h");
      EXPECT_EQ(all, writing.taken);
      EXPECT_EQ(all.size(), static_cast<std::size_t>(kQuarters / kStep));
      EXPECT_EQ(writing.refused(), 0U);
      EXPECT_EQ(writing.set_aside(), 0U);
      if (second_over) ++twice;
    }
  EXPECT_GE(twice, 30);
}

INSTANTIATE_TEST_SUITE_P(Full, FailingDisk, ::testing::Values(SQLITE_FULL));
INSTANTIATE_TEST_SUITE_P(Broken, FailingDisk, ::testing::Values(SQLITE_IOERR_WRITE));

TEST(Faults, ADirectoryThatCannotBeWrittenIsAnError) {
  const test::TempDir dir;
  dir.file("h", "a file, not a directory");
  EXPECT_FALSE(Store::open(dir / "h", {}));
  EXPECT_FALSE(Reader::open(dir / "h"));
}

/// A file of two days, closed properly.
std::string sample_file(const std::string& dir) {
  auto store = std::move(Store::open(dir, {})).value();
  BinMaker maker(4, 20);
  for (int q = 0; q < 110; ++q) {
    Batch batch = quarter(maker, q);
    EXPECT_TRUE(store->write(batch));
  }
  while (*store->tidy(at(kApril2031) + 27h + 30min)) {
  }
  return dir + "/history-2031-04.sqlite";
}

void spoil(const std::string& path, std::size_t offset, char value) {
  std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
  file.seekp(static_cast<std::streamoff>(offset));
  file.put(value);
}

TEST(Faults, DamageAnywhereNeitherCrashesNorInvents) {
  const test::TempDir dir;
  const std::string good = sample_file(dir / "good");
  const auto size = std::filesystem::file_size(good);
  const std::vector<Time> all = starts_in(dir / "good");
  ASSERT_EQ(all.size(), 110U);
  std::ifstream file(good, std::ios::binary);
  const std::string bytes((std::istreambuf_iterator<char>(file)), {});
  const std::uint32_t seed = 20310402;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::filesystem::create_directory(dir / "bad");
  const std::string bad = dir / "bad/history-2031-04.sqlite";
  int told = 0;
  for (int round = 0; round < 400; ++round) {
    // The header and the schema closely, the rest here and there.
    const std::size_t offset = round < 150 ? static_cast<std::size_t>(round) : random() % size;
    std::string spoilt = bytes;
    spoilt[offset] = static_cast<char>(spoilt[offset] ^ (1 + random() % 255));
    std::ofstream(bad, std::ios::binary | std::ios::trunc) << spoilt;
    std::vector<std::string> problems;
    const std::vector<Time> found = starts_in(dir / "bad", &problems);
    EXPECT_LE(found.size(), all.size());
    EXPECT_TRUE(std::ranges::includes(all, found)) << offset;  // nothing that never was
    if (found != all) ++told;
    // A writer goes on, in this file or in a new one.
    if (round % 8 == 0) {
      auto store = std::move(Store::open(dir / "bad", {})).value();
      BinMaker maker(4, 20);
      Batch batch = quarter(maker, 200);
      for (int attempt = 0; attempt < 2 && !store->write(batch); ++attempt) {
      }
      EXPECT_TRUE(batch.empty() || spoilt.substr(60, 4) != bytes.substr(60, 4))
          << offset;  // 60: version
      store.reset();
      for (const auto& entry : std::filesystem::directory_iterator(dir / "bad"))
        std::filesystem::remove(entry);
    }
  }
  RecordProperty("of_400_lost_something", told);
}

/// What is left of the schema can be read, a table of it is gone: nothing could ever be written.
TEST(Faults, AFileWithoutOneOfItsTablesIsSetAside) {
  for (const char* table : {"event", "recent", "mark"}) {
    const test::TempDir dir;
    const std::string path = sample_file(dir / "h");
    {
      sqlite3* db = nullptr;
      ASSERT_EQ(sqlite3_open(path.c_str(), &db), SQLITE_OK);
      const std::string drop = std::string("DROP TABLE ") + table;
      EXPECT_EQ(sqlite3_exec(db, drop.c_str(), nullptr, nullptr, nullptr), SQLITE_OK);
      sqlite3_close(db);
    }
    auto store = std::move(Store::open(dir / "h", {})).value();
    BinMaker maker(4, 20);
    Batch batch = quarter(maker, 200);
    EXPECT_TRUE(store->write(batch)) << table;
    EXPECT_TRUE(batch.empty());
    EXPECT_TRUE(std::filesystem::exists(path + ".damaged-1")) << table;
  }
}

TEST(Faults, ACutFileIsTold) {
  const test::TempDir dir;
  const std::string good = sample_file(dir / "h");
  const auto size = std::filesystem::file_size(good);
  for (const auto left : {size - 1, size - 4096, size / 2, std::uintmax_t{4096},
                          std::uintmax_t{100}, std::uintmax_t{1}}) {
    SCOPED_TRACE(left);
    std::filesystem::resize_file(good, left);
    std::vector<std::string> problems;
    const auto found = starts_in(dir / "h", &problems);
    // The end of the last page may be room that nothing needs.
    EXPECT_TRUE(left + 1 == size || found.size() < 110);
    EXPECT_EQ(problems.empty(), found.size() == 110);
  }
}

TEST(Faults, ADamagedFileIsSetAsideAfterACrash) {
  const test::TempDir dir;
  const std::string path = sample_file(dir / "h");
  std::filesystem::copy_file(path, path + ".keep");
  // As a crash leaves it: a log beside it, and a page that is not what it should be.
  std::ofstream(path + "-wal", std::ios::binary) << std::string(32, 'x');
  for (std::size_t at = 0; at < 4096; ++at)
    spoil(path, std::filesystem::file_size(path) / 4096 / 2 * 4096 + at, 'x');
  std::vector<std::string> remarks;
  StoreOptions options;
  options.remark = [&](const std::string& text) { remarks.push_back(text); };
  auto store = std::move(Store::open(dir / "h", options)).value();
  BinMaker maker(9);
  Batch batch = quarter(maker, 120);
  ASSERT_TRUE(store->write(batch));
  ASSERT_EQ(remarks.size(), 1U);
  EXPECT_NE(remarks[0].find("history-2031-04.sqlite.damaged-1"), std::string::npos) << remarks[0];
  EXPECT_TRUE(std::filesystem::exists(path + ".damaged-1"));
  EXPECT_EQ(store->set_aside(), 1U);
  store.reset();
  EXPECT_EQ(starts_in(dir / "h").size(), 1U);
}

TEST(Faults, AFileOfALaterVersionIsLeftAlone) {
  const test::TempDir dir;
  const std::string path = sample_file(dir / "h");
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(path.c_str(), &db), SQLITE_OK);
  ASSERT_EQ(sqlite3_exec(db, "PRAGMA user_version = 99", nullptr, nullptr, nullptr), SQLITE_OK);
  sqlite3_close(db);
  std::vector<std::string> problems;
  EXPECT_TRUE(starts_in(dir / "h", &problems).empty());
  EXPECT_FALSE(problems.empty());
  auto store = std::move(Store::open(dir / "h", {})).value();
  BinMaker maker(9);
  Batch batch = quarter(maker, 120);
  const Status written = store->write(batch);
  ASSERT_FALSE(written);
  EXPECT_NE(written.error().message.find("later version"), std::string::npos);
  EXPECT_EQ(batch.bins.size(), 2U);
  EXPECT_EQ(store->set_aside(), 0U);
}

/// tests/data/history holds one file of each version ever written; what is in it stands in its
/// README. Later versions must read them all.
TEST(Faults, FilesOfEveryVersionCanBeRead) {
  const test::TempDir dir;
  std::filesystem::create_directory(dir / "h");
  std::filesystem::copy_file(FADEWARD_TEST_DATA "/history/version1.sqlite",
                             dir / "h/history-2031-04.sqlite");
  auto reader = std::move(Reader::open(dir / "h")).value();
  EXPECT_EQ(reader.links(), (std::vector<std::string>{"weir"}));
  Summary inbound, outbound;
  reader.bins("weir", Direction::inbound, Time::min(), Time::max(),
              [&](const Summary& bin) { inbound.merge(bin); });
  reader.bins("weir", Direction::outbound, Time::min(), Time::max(),
              [&](const Summary& bin) { outbound.merge(bin); });
  EXPECT_EQ(inbound.quarters, 100U);
  EXPECT_EQ(outbound.quarters, 100U);
  EXPECT_EQ(inbound.frames, 1000U);  // ten a quarter hour, all at -100 dBm and -120 dBm
  EXPECT_DOUBLE_EQ(*inbound.signal.mean_db(), -100);
  EXPECT_DOUBLE_EQ(*inbound.noise.quantile_db(0.5), -120);
  EXPECT_EQ(inbound.lost, 100U);
  const auto events = reader.events(Time::min(), Time::max());
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].link, "weir");
  EXPECT_EQ(events[0].cause, Cause::far_noise);
  ASSERT_EQ(reader.periods(Time::min(), Time::max()).size(), 1U);
  EXPECT_EQ(reader.periods(Time::min(), Time::max())[0].note, "mast work");
  EXPECT_EQ(reader.marks(Time::min(), Time::max()).size(), 1U);
  // And written to.
  auto store = std::move(Store::open(dir / "h", {})).value();
  Batch batch;
  Bin bin;
  bin.start = at(kApril2031 + 10 * 86400);
  bin.frames = 5;
  batch.bins.push_back({"weir", Direction::inbound, bin});
  EXPECT_TRUE(store->write(batch));
}

}  // namespace
}  // namespace fadeward::history::faults_test
