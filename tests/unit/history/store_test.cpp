// What is written is what is read, through packing, roll-up and retention.
#include "fadeward/history/store.hpp"

#include <gtest/gtest.h>
#include <sqlite3.h>

#include <cstdlib>
#include <filesystem>
#include <map>

#include "fadeward/history/reader.hpp"
#include "sample_bins.hpp"
#include "support/temp_dir.hpp"

namespace fadeward::history::store_test {
namespace {

using namespace std::chrono_literals;
using test::at;
using test::BinMaker;
using test::kApril2031;

constexpr Duration kDay = 24h;

std::unique_ptr<Store> store_in(const std::string& dir, StoreOptions options = {}) {
  auto opened = Store::open(dir, std::move(options));
  EXPECT_TRUE(opened) << (opened ? "" : opened.error().message);
  return std::move(opened).value();
}

void write(Store& store, Batch batch) {
  const Status written = store.write(batch);
  ASSERT_TRUE(written) << (written ? "" : written.error().message);
  EXPECT_TRUE(batch.empty());
}

void tidy_all(Store& store, Time now) {
  for (int turn = 0; turn < 5000; ++turn) {
    const auto more = store.tidy(now);
    ASSERT_TRUE(more) << more.error().message;
    if (!*more) return;
  }
  FAIL() << "housekeeping does not end";
}

Reader reader_of(const std::string& dir) {
  auto opened = Reader::open(dir);
  EXPECT_TRUE(opened);
  return std::move(opened).value();
}

/// Writes quarter hours of `links` links, both directions; returns what one direction's days must
/// come to.
struct Written {
  std::map<std::pair<std::string, int>, Summary> sums;
  std::map<std::pair<std::string, int>, std::map<Time, Summary>> days;
};
Written fill(Store& store, Time from, int quarters, int links, std::uint32_t seed, int channels = 0,
             bool tidy = false) {
  Written out;
  std::map<std::pair<std::string, int>, BinMaker> makers;
  for (int q = 0; q < quarters; ++q) {
    Batch batch;
    for (int l = 0; l < links; ++l)
      for (int d = 0; d < 2; ++d) {
        const std::pair key{"L" + std::to_string(l), d};
        const auto maker =
            makers.try_emplace(key, seed + static_cast<unsigned>(2 * l + d), channels).first;
        const Bin bin = maker->second.make(from + kBinSpan * q);
        out.sums[key].merge(bin);
        out.days[key][std::chrono::floor<std::chrono::days>(bin.start)].merge(bin);
        batch.bins.push_back({key.first, static_cast<Direction>(d), bin});
      }
    const Status written = store.write(batch);
    EXPECT_TRUE(written) << (written ? "" : written.error().message);
    if (tidy) {
      const auto more = store.tidy(from + kBinSpan * (q + 1));
      EXPECT_TRUE(more);
    }
  }
  return out;
}

/// Another program's look into a file.
std::int64_t number_in(const std::string& path, const std::string& sql) {
  sqlite3* db = nullptr;
  EXPECT_EQ(sqlite3_open(path.c_str(), &db), SQLITE_OK);
  std::int64_t out = -1;
  sqlite3_exec(
      db, sql.c_str(),
      [](void* into, int, char** values, char**) {
        *static_cast<std::int64_t*>(into) = std::atoll(values[0]);
        return 0;
      },
      &out, nullptr);
  sqlite3_close(db);
  return out;
}
std::int64_t rows_of(const std::string& path, const std::string& table) {
  return number_in(path, "SELECT count(*) FROM " + table);
}
void execute(const std::string& path, const char* sql) {
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(path.c_str(), &db), SQLITE_OK);
  EXPECT_EQ(sqlite3_exec(db, sql, nullptr, nullptr, nullptr), SQLITE_OK);
  sqlite3_close(db);
}

Summary sum_of(Reader& reader, const std::string& link, Direction direction, Time from, Time to) {
  Summary sum;
  reader.bins(link, direction, from, to, [&](const Summary& bin) { sum.merge(bin); });
  return sum;
}

void expect_same(const Summary& found, const Summary& wanted) {
  EXPECT_EQ(found.quarters, wanted.quarters);
  EXPECT_EQ(found.frames, wanted.frames);
  EXPECT_EQ(found.lost, wanted.lost);
  EXPECT_EQ(found.sent, wanted.sent);
  EXPECT_EQ(found.retries, wanted.retries);
  EXPECT_TRUE(found.margin == wanted.margin);
  EXPECT_TRUE(found.signal == wanted.signal);
  EXPECT_TRUE(found.noise == wanted.noise);
  ASSERT_EQ(found.channels.size(), wanted.channels.size());
  for (std::size_t i = 0; i < found.channels.size(); ++i) {
    const ChannelTotal &f = found.channels[i], &w = wanted.channels[i];
    EXPECT_EQ(f.channel, w.channel);
    EXPECT_EQ(f.frames, w.frames);
    EXPECT_NEAR(f.signal_sum_dbm / static_cast<double>(f.frames),
                w.signal_sum_dbm / static_cast<double>(w.frames), 0.2);
  }
}

TEST(Store, GivesBackWhatItTook) {
  const test::TempDir dir;
  const auto store = store_in(dir / "h");
  const Written written = fill(*store, at(kApril2031), 100, 3, 1, 10);
  Reader reader = reader_of(dir / "h");  // beside the writer
  EXPECT_EQ(reader.links(), (std::vector<std::string>{"L0", "L1", "L2"}));
  for (const auto& [key, sum] : written.sums)
    expect_same(
        sum_of(reader, key.first, static_cast<Direction>(key.second), Time::min(), Time::max()),
        sum);
  int bins = 0;
  Time last{};
  reader.bins("L1", Direction::outbound, at(kApril2031 + 900), at(kApril2031 + 4500),
              [&](const Summary& bin) {
                ++bins;
                EXPECT_GT(bin.start, last);
                EXPECT_EQ(bin.span, kBinSpan);
                last = bin.start;
              });
  EXPECT_EQ(bins, 4);
  EXPECT_EQ(sum_of(reader, "no such link", Direction::inbound, Time::min(), Time::max()).quarters,
            0U);
  ASSERT_TRUE(reader.extent());
  EXPECT_EQ(reader.extent()->first, at(kApril2031));
  EXPECT_EQ(reader.extent()->second, at(kApril2031) + 100 * kBinSpan);
  EXPECT_TRUE(reader.problems().empty());
}

TEST(Store, PacksDaysWithoutChangingThem) {
  const test::TempDir dir;
  Written written;
  {
    const auto store = store_in(dir / "h");
    written = fill(*store, at(kApril2031), 3 * 96 + 10, 3, 7, 12, true);
    Reader reader = reader_of(dir / "h");
    for (const auto& [key, sum] : written.sums)
      expect_same(
          sum_of(reader, key.first, static_cast<Direction>(key.second), Time::min(), Time::max()),
          sum);
    tidy_all(*store, at(kApril2031) + 40 * kDay);  // the month is over: nothing stays beside it
  }
  EXPECT_FALSE(std::filesystem::exists(dir / "h/history-2031-04.sqlite-wal"));
  Reader reader = reader_of(dir / "h");
  for (const auto& [key, sum] : written.sums)
    expect_same(
        sum_of(reader, key.first, static_cast<Direction>(key.second), Time::min(), Time::max()),
        sum);
  // An hour of it is its four quarters, wherever it lies.
  for (int hour = 0; hour < 3 * 24; ++hour) {
    std::vector<Time> starts;
    const Time from = at(kApril2031) + 1h * hour + 15min;
    reader.bins("L1", Direction::inbound, from, from + 1h, [&](const Summary& bin) {
      if (!bin.empty()) starts.push_back(bin.start);
    });
    EXPECT_EQ(starts, (std::vector<Time>{from, from + 15min, from + 30min, from + 45min})) << hour;
  }
  std::size_t days = 0;
  reader.summaries("L2", Direction::inbound, Time::min(), Time::max(), kDay,
                   [&](const Summary& day) {
                     ++days;
                     EXPECT_EQ(day.span, kDay);
                     expect_same(day, written.days.at({"L2", 0}).at(day.start));
                   });
  EXPECT_EQ(days, 4U);
  EXPECT_TRUE(reader.problems().empty());
}

TEST(Store, SplitsMonthsAndMergesThem) {
  const test::TempDir dir;
  const auto store = store_in(dir / "h");
  const Written written = fill(*store, at(kApril2031) + 29 * kDay + 20h, 32, 1, 3);
  EXPECT_TRUE(std::filesystem::exists(dir / "h/history-2031-04.sqlite"));
  EXPECT_TRUE(std::filesystem::exists(dir / "h/history-2031-05.sqlite"));
  Reader reader = reader_of(dir / "h");
  std::vector<std::uint32_t> quarters;
  reader.months("L0", Direction::inbound, Time::min(), Time::max(), [&](const Summary& month) {
    quarters.push_back(month.quarters);
    EXPECT_EQ(month.span, quarters.size() == 1 ? 30 * kDay : 31 * kDay);
  });
  EXPECT_EQ(quarters, (std::vector<std::uint32_t>{16, 16}));
  expect_same(sum_of(reader, "L0", Direction::inbound, Time::min(), Time::max()),
              written.sums.at({"L0", 0}));
}

TEST(Store, MakesHoursOfWhatIsOlderThanAYear) {
  const test::TempDir dir;
  const auto store = store_in(dir / "h");
  const Written written = fill(*store, at(kApril2031), 96 * 2 + 5, 2, 21, 8);
  const auto size = [&] { return std::filesystem::file_size(dir / "h/history-2031-04.sqlite"); };
  tidy_all(*store, at(kApril2031) + 100 * kDay);
  const auto before = size();
  fill(*store, at(kApril2031) + 350 * kDay, 1, 1, 3);  // the month before that day's
  tidy_all(*store, at(kApril2031) + (30 + 364) * kDay);
  EXPECT_EQ(size(), before);
  tidy_all(*store, at(kApril2031) + (30 + 365) * kDay);
  EXPECT_LT(size(), before);
  EXPECT_FALSE(std::filesystem::exists(dir / "h/history-2031-04.sqlite.new"));
  Reader reader = reader_of(dir / "h");
  int hours = 0;
  reader.bins("L1", Direction::inbound, Time::min(), Time::max(), [&](const Summary& bin) {
    if (bin.quarters == 0) return;
    ++hours;
    EXPECT_EQ(bin.span, 1h);
  });
  EXPECT_EQ(hours, 50);
  reader.summaries("L1", Direction::inbound, Time::min(), Time::max(), kDay,
                   [&](const Summary& day) {
                     expect_same(day, written.days.at({"L1", 0}).at(day.start));
                   });
  // Spans that no day begins or ends: each once, in order of time.
  for (const Duration step : {Duration{5h}, Duration{36h}, 10 * kDay}) {
    Time last{};
    std::uint32_t quarters = 0;
    reader.summaries("L1", Direction::inbound, Time::min(), at(kApril2031) + 30 * kDay, step,
                     [&](const Summary& sum) {
                       EXPECT_GT(sum.start, last);
                       last = sum.start;
                       quarters += sum.quarters;
                     });
    EXPECT_EQ(quarters, 96U * 2 + 5) << step.count();
  }
  // Once is enough.
  fill(*store, at(kApril2031) + 470 * kDay, 1, 1, 3);
  tidy_all(*store, at(kApril2031) + 500 * kDay);
  expect_same(sum_of(reader, "L0", Direction::outbound, Time::min(), at(kApril2031) + 30 * kDay),
              written.sums.at({"L0", 1}));
}

TEST(Store, ForgetsWhatIsOlderThanItKeeps) {
  const test::TempDir dir;
  StoreOptions options;
  options.keep = 20 * kDay;
  const auto store = store_in(dir / "h", options);
  for (const int day : {0, 15, 31, 32, 40}) fill(*store, at(kApril2031) + day * kDay, 96, 1, 2);
  tidy_all(*store, at(kApril2031) + 41 * kDay);
  Reader reader = reader_of(dir / "h");
  ASSERT_TRUE(reader.extent());
  EXPECT_EQ(reader.extent()->first, at(kApril2031) + 31 * kDay);  // 21 is the limit
  dir.file("h/history-2031-04.sqlite.damaged-1", "set aside once");
  tidy_all(*store, at(kApril2031) + 52 * kDay + 1h);
  EXPECT_FALSE(std::filesystem::exists(dir / "h/history-2031-04.sqlite"));
  EXPECT_FALSE(std::filesystem::exists(dir / "h/history-2031-04.sqlite.damaged-1"));
  EXPECT_EQ(reader.extent()->first, at(kApril2031) + 32 * kDay);  // part of a month
  tidy_all(*store, at(kApril2031) + 62 * kDay);
  EXPECT_FALSE(reader.extent());
}

// Events and marks go with the quarter hours of their time, not before and not after.
TEST(Store, ForgetsEventsAndMarksWithTheirDays) {
  const test::TempDir dir;
  StoreOptions options;
  options.keep = 20 * kDay;
  const auto store = store_in(dir / "h", options);
  const auto day_of = [](int day) { return at(kApril2031) + day * kDay + 12h; };
  for (const int day : {2, 9, 10, 25}) {
    Batch batch;
    batch.at = day_of(day);
    EventRecord event;
    event.time = day_of(day);
    event.link = "weir";
    batch.events = {event};
    batch.marks = {{day_of(day), MarkKind::started, "", ""}};
    write(*store, batch);
  }
  tidy_all(*store, at(kApril2031) + 30 * kDay - 1h);  // nine whole days are too old
  Reader reader = reader_of(dir / "h");
  std::vector<Time> events, marks;
  for (const EventRecord& one : reader.events(Time::min(), Time::max())) events.push_back(one.time);
  for (const MarkRecord& one : reader.marks(Time::min(), Time::max())) marks.push_back(one.time);
  const std::vector<Time> wanted = {day_of(9), day_of(10), day_of(25)};
  EXPECT_EQ(events, wanted);
  EXPECT_EQ(marks, wanted);
}

// Levels for 20 days, events for 100: the file of April stays for its event and is small.
TEST(Store, EventsMayOutliveLevels) {
  const test::TempDir dir;
  StoreOptions options;
  options.keep = 20 * kDay;
  options.keep_records = 100 * kDay;
  options.durable = false;
  const auto store = store_in(dir / "h", options);
  const std::string april = dir / "h/history-2031-04.sqlite";
  Batch batch;
  batch.at = at(kApril2031);
  EventRecord event;
  event.time = at(kApril2031) + 5 * kDay;
  event.link = "L0";
  batch.events = {event};
  write(*store, std::move(batch));
  fill(*store, at(kApril2031), 96 * 30, 1, 2, 8);
  tidy_all(*store, at(kApril2031) + 31 * kDay);
  const auto full = std::filesystem::file_size(april);
  fill(*store, at(kApril2031) + 51 * kDay, 96, 1, 2);
  tidy_all(*store, at(kApril2031) + 52 * kDay);
  Reader reader = reader_of(dir / "h");
  EXPECT_EQ(reader.extent()->first, at(kApril2031) + 51 * kDay);
  EXPECT_EQ(reader.events(Time::min(), Time::max()), std::vector{event});
  EXPECT_LT(std::filesystem::file_size(april), full / 4);
  fill(*store, at(kApril2031) + 80 * kDay, 96, 1, 2);
  fill(*store, at(kApril2031) + 110 * kDay, 96, 1, 2);
  fill(*store, at(kApril2031) + 130 * kDay, 96, 1, 2);
  tidy_all(*store, at(kApril2031) + 131 * kDay);
  EXPECT_FALSE(std::filesystem::exists(april));
  EXPECT_TRUE(reader.events(Time::min(), Time::max()).empty());
}

TEST(Store, TheOldestMonthGoesWhereTheSizeHasALimit) {
  const test::TempDir dir;
  std::vector<std::string> said;
  StoreOptions options;
  options.durable = false;
  options.remark = [&said](const std::string& text) { said.push_back(text); };
  const auto size = [&] {
    std::uintmax_t bytes = 0;
    for (const auto& file : std::filesystem::directory_iterator(dir / "h"))
      bytes += file.file_size();
    return bytes;
  };
  for (int month = 0; month < 4; ++month) {
    const auto store = store_in(dir / "h", options);
    fill(*store, at(kApril2031) + month * 31 * kDay, 96 * 3, 1, 2, 8);
    tidy_all(*store, at(kApril2031) + month * 31 * kDay + 4 * kDay);
    ASSERT_TRUE(store->close());
    if (month == 0) options.max_bytes = 3 * size();
  }
  const auto store = store_in(dir / "h", options);
  tidy_all(*store, at(kApril2031) + 3 * 31 * kDay + 5 * kDay);
  EXPECT_LE(size(), options.max_bytes);
  EXPECT_FALSE(std::filesystem::exists(dir / "h/history-2031-04.sqlite"));
  EXPECT_TRUE(std::filesystem::exists(dir / "h/history-2031-07.sqlite"));
  ASSERT_FALSE(said.empty());
  EXPECT_NE(said[0].find("history-2031-04.sqlite is removed"), std::string::npos) << said[0];
}

// One month that is larger than all that is allowed stays, and says so once.
TEST(Store, TheNewestMonthStaysHoweverLarge) {
  const test::TempDir dir;
  std::vector<std::string> said;
  StoreOptions options;
  options.max_bytes = 10'000;
  options.durable = false;
  options.remark = [&said](const std::string& text) { said.push_back(text); };
  const auto store = store_in(dir / "h", options);
  const Written written = fill(*store, at(kApril2031), 96, 1, 2);
  for (int day = 1; day < 4; ++day) tidy_all(*store, at(kApril2031) + day * kDay);
  Reader reader = reader_of(dir / "h");
  expect_same(sum_of(reader, "L0", Direction::inbound, Time::min(), Time::max()),
              written.sums.at({"L0", 0}));
  ASSERT_EQ(said.size(), 1U);
  EXPECT_NE(said[0].find("nothing is removed"), std::string::npos) << said[0];
}

TEST(Store, ThrowsNothingAwayUnderAClockThatLeapt) {
  const test::TempDir dir;
  StoreOptions options;
  options.keep = 365 * kDay;
  const auto store = store_in(dir / "h", options);
  const Written written = fill(*store, at(kApril2031) + 25 * kDay, 10 * 96, 1, 4);
  const Time wrong = at(kApril2031) + 10 * 365 * kDay;
  tidy_all(*store, wrong);
  fill(*store, std::chrono::floor<std::chrono::days>(wrong), 5, 1, 5);  // in its own month
  tidy_all(*store, wrong + 1h);
  Reader reader = reader_of(dir / "h");
  const auto before = [&] {
    return sum_of(reader, "L0", Direction::inbound, Time::min(), at(kApril2031) + 40 * kDay);
  };
  expect_same(before(), written.sums.at({"L0", 0}));
  // The year really came: a month later it has lived through one.
  fill(*store, wrong + 31 * kDay, 5, 1, 6);
  tidy_all(*store, wrong + 31 * kDay + 2h);
  EXPECT_EQ(before().quarters, 0U);
}

TEST(Store, OneMonthThatCannotBeOpenedKeepsNoOtherFromHousekeeping) {
  const test::TempDir dir;
  StoreOptions options;
  options.keep = 70 * kDay;
  const auto store = store_in(dir / "h", options);
  for (const int day : {0, 31, 62, 92}) fill(*store, at(kApril2031) + day * kDay, 96, 1, 2);
  ASSERT_TRUE(store->close());
  execute(dir / "h/history-2031-05.sqlite", "PRAGMA user_version = 99");
  const auto again = store_in(dir / "h", options);
  bool failed = false;
  std::string said;
  for (int turn = 0; turn < 50 && !failed; ++turn) {
    const auto more = again->tidy(at(kApril2031) + 101 * kDay);
    failed = !more;
    ASSERT_TRUE(failed || *more) << "it must say so";
    if (failed) said = more.error().message;
  }
  EXPECT_NE(said.find("later version"), std::string::npos) << said;
  EXPECT_EQ(rows_of(dir / "h/history-2031-07.sqlite", "recent"), 0);
  EXPECT_EQ(rows_of(dir / "h/history-2031-07.sqlite", "hour"), 48);
  EXPECT_FALSE(std::filesystem::exists(dir / "h/history-2031-04.sqlite"));
}

TEST(Store, RollsUpNoFileOfALaterVersion) {
  const test::TempDir dir;
  const std::string path = dir / "h/history-2031-04.sqlite";
  {
    const auto store = store_in(dir / "h");
    fill(*store, at(kApril2031), 96, 1, 2);
    tidy_all(*store, at(kApril2031) + 40 * kDay);
    fill(*store, at(kApril2031) + 395 * kDay, 4, 1, 2);  // the program has run until then
  }
  execute(path, "PRAGMA user_version = 99");
  const auto store = store_in(dir / "h");
  for (int turn = 0; turn < 50; ++turn)
    static_cast<void>(store->tidy(at(kApril2031) + (30 + 370) * kDay));
  EXPECT_EQ(rows_of(path, "hour"), 48);
  EXPECT_EQ(number_in(path, "PRAGMA user_version"), 99);
}

TEST(Store, RefusesYearsThatDidNotHappen) {
  const test::TempDir dir;
  const auto store = store_in(dir / "h");
  BinMaker maker(1);
  Batch batch;
  batch.at = at(600);
  for (const std::int64_t when : {0LL, 600LL, 1577836799LL, 7258118400LL})  // 1970, 2019, 2200
    batch.bins.push_back({"L1", Direction::inbound, maker.make(at(when - when % 900))});
  batch.events.push_back({at(600),
                          "L1",
                          "",
                          {},
                          EventChange::raised,
                          AlertName::LinkSilent,
                          Severity::critical,
                          Cause::silent,
                          Shape::none,
                          {},
                          {},
                          {},
                          "x"});
  batch.marks.push_back({at(600), MarkKind::started, "", ""});
  batch.periods.push_back({PeriodKind::upkeep, "L1", {}, at(0), at(9), {}, ""});
  write(*store, batch);
  EXPECT_EQ(store->refused(), 7U);
  EXPECT_TRUE(months_in(dir / "h").empty());
  const auto more = store->tidy(at(600));
  ASSERT_TRUE(more);
  EXPECT_FALSE(*more);
}

TEST(Store, KeepsEventsMarksAndPeriods) {
  const test::TempDir dir;
  const auto store = store_in(dir / "h");
  Batch batch;
  batch.at = at(kApril2031 + 100);
  const EventRecord raised{at(kApril2031 + 10),
                           "weir",
                           "",
                           Direction::outbound,
                           EventChange::raised,
                           AlertName::InterferenceSuspected,
                           Severity::warning,
                           Cause::far_noise,
                           Shape::step,
                           at(kApril2031 - 3600),
                           4.75,
                           0.97,
                           "Noise “up” by 4.75 dB."};
  const EventRecord fault{Time{at(kApril2031 + 20)} + Duration{123456},
                          "",
                          "mast",
                          {},
                          EventChange::cleared,
                          AlertName::PortFault,
                          Severity::critical,
                          Cause::port,
                          Shape::none,
                          {},
                          {},
                          {},
                          ""};
  batch.events = {raised, fault};
  batch.marks = {{at(kApril2031 + 1), MarkKind::started, "", "0.1.0"},
                 {at(kApril2031 + 2), MarkKind::port_down, "mast", "no such device"},
                 {at(kApril2031 + 2), MarkKind::clock_step, "", "+3.2 s"}};
  batch.periods = {
      {PeriodKind::upkeep, "weir", {}, at(kApril2031 - 86400), at(kApril2031), {}, "mast work"},
      {PeriodKind::baseline, "weir", Direction::inbound, at(kApril2031 - 1209600), at(kApril2031),
       21.5, ""}};
  const Batch kept = batch;
  write(*store, batch);
  write(*store, kept);  // the same again adds nothing
  Reader reader = reader_of(dir / "h");
  EXPECT_EQ(reader.events(Time::min(), Time::max()), kept.events);
  EXPECT_EQ(reader.events(Time::min(), Time::max(), "weir"), std::vector{raised});
  EXPECT_TRUE(reader.events(at(kApril2031 + 21), Time::max()).empty());
  EXPECT_EQ(reader.marks(Time::min(), Time::max()).size(), 3U);
  EXPECT_EQ(reader.marks(at(kApril2031 + 1), at(kApril2031 + 2)), std::vector{kept.marks[0]});
  EXPECT_EQ(reader.periods(Time::min(), Time::max()),
            (std::vector{kept.periods[1], kept.periods[0]}));  // by beginning
  Batch corrected;
  corrected.at = at(kApril2031 + 60 * 86400);
  corrected.periods = {kept.periods[0]};
  corrected.periods[0].note = "mast work, longer";
  corrected.periods[0].to = at(kApril2031 + 5);
  write(*store, corrected);
  EXPECT_EQ(reader.periods(at(kApril2031), Time::max()), corrected.periods);
}

TEST(Store, AddsUpWhatComesTwiceButTheFirst) {
  const test::TempDir dir;
  BinMaker maker(6);
  const Bin full = maker.make(at(kApril2031), 90), part = maker.make(at(kApril2031), 20);
  const auto frames = [&] {
    Reader reader = reader_of(dir / "h");
    return sum_of(reader, "L1", Direction::inbound, Time::min(), Time::max()).frames;
  };
  {
    const auto store = store_in(dir / "h");
    write(*store, {{{"L1", Direction::inbound, full}}, {}, {}, {}, {}});
    write(*store, {{{"L1", Direction::inbound, part}}, {}, {}, {}, {}});  // a clock set back
    EXPECT_EQ(frames(), full.frames + part.frames);
  }
  for (const bool packed : {false, true}) {
    const auto store = store_in(dir / "h");  // restored from an older state
    if (packed) tidy_all(*store, at(kApril2031) + kDay);
    write(*store, {{{"L1", Direction::inbound, part}}, {}, {}, {}, {}});
    EXPECT_EQ(frames(), full.frames + part.frames);
  }
  StoreOptions options;
  options.replace = true;
  const auto store = store_in(dir / "h", options);
  write(*store, {{{"L1", Direction::inbound, part}}, {}, {}, {}, {}});
  EXPECT_EQ(frames(), part.frames);
}

TEST(Store, AddsUpWhatComesTwiceInOneBatch) {
  const test::TempDir dir;
  BinMaker maker(6);
  const Bin one = maker.make(at(kApril2031), 50), two = maker.make(at(kApril2031), 30);
  const auto store = store_in(dir / "h");
  // After a disk that did not take it for a while, with a clock set back meanwhile.
  write(*store,
        {{{"L1", Direction::inbound, one}, {"L1", Direction::inbound, two}}, {}, {}, {}, {}});
  Reader reader = reader_of(dir / "h");
  EXPECT_EQ(sum_of(reader, "L1", Direction::inbound, Time::min(), Time::max()).frames,
            one.frames + two.frames);
}

/// A recording played twice, or a bin that an earlier run wrote: its channels count once as well.
TEST(Store, CountsChannelsOnceHoweverOftenABinComes) {
  const test::TempDir dir;
  BinMaker maker(8, 12);
  const Bin bin = maker.make(at(kApril2031), 90);
  for (const bool replace : {true, true, false}) {
    StoreOptions options;
    options.replace = replace;
    const auto store = store_in(dir / "h", options);
    write(*store, {{{"L1", Direction::inbound, bin}}, {}, {}, {}, {}});
    tidy_all(*store, at(kApril2031) + kDay);
  }
  Reader reader = reader_of(dir / "h");
  Summary wanted;
  wanted.merge(bin);
  expect_same(sum_of(reader, "L1", Direction::inbound, Time::min(), Time::max()), wanted);
}

TEST(Store, GivesBinsInOrderOfTimeAfterAClockSetBack) {
  const test::TempDir dir;
  const auto store = store_in(dir / "h");
  BinMaker maker(8);
  const auto put = [&](Duration after) {
    write(*store,
          {{{"L1", Direction::inbound, maker.make(at(kApril2031) + after)}}, {}, {}, {}, {}});
  };
  put(12h);
  put(13h);
  tidy_all(*store, at(kApril2031) + 25h);  // packed
  for (const Duration after : {Duration{26h}, Duration{3h}, Duration{12h + 30min}, Duration{20h}})
    put(after);
  std::vector<Time> starts;
  Reader reader = reader_of(dir / "h");
  reader.bins("L1", Direction::inbound, Time::min(), Time::max(),
              [&](const Summary& bin) { starts.push_back(bin.start - at(kApril2031) + Time{}); });
  EXPECT_EQ(starts, (std::vector<Time>{Time{3h}, Time{12h}, Time{12h + 30min}, Time{13h}, Time{20h},
                                       Time{26h}}));
}

TEST(Store, SaysWhatItCouldNotPack) {
  const test::TempDir dir;
  const std::string path = dir / "h/history-2031-04.sqlite";
  {
    const auto store = store_in(dir / "h");
    fill(*store, at(kApril2031), 96, 1, 2);
  }
  execute(path, "UPDATE recent SET data = x'00' WHERE id = (SELECT min(id) FROM recent)");
  std::vector<std::string> remarks;
  StoreOptions options;
  options.remark = [&](const std::string& text) { remarks.push_back(text); };
  const auto store = store_in(dir / "h", options);
  tidy_all(*store, at(kApril2031) + 2 * kDay);
  ASSERT_EQ(remarks.size(), 1U);
  EXPECT_NE(remarks[0].find(": 1 damaged"), std::string::npos) << remarks[0];
  Reader reader = reader_of(dir / "h");
  EXPECT_EQ(sum_of(reader, "L0", Direction::inbound, Time::min(), Time::max()).quarters +
                sum_of(reader, "L0", Direction::outbound, Time::min(), Time::max()).quarters,
            191U);
}

TEST(Store, BeginsAnewWhenItsFileIsRemoved) {
  const test::TempDir dir;
  std::vector<std::string> remarks;
  StoreOptions options;
  options.remark = [&](const std::string& text) { remarks.push_back(text); };
  const auto store = store_in(dir / "h", options);
  fill(*store, at(kApril2031), 5, 1, 2);
  for (const auto& file : std::filesystem::directory_iterator(dir / "h"))
    std::filesystem::remove(file);
  const Written after = fill(*store, at(kApril2031) + 5 * kBinSpan, 5, 1, 2);
  ASSERT_EQ(remarks.size(), 1U);
  EXPECT_NE(remarks[0].find("removed"), std::string::npos) << remarks[0];
  Reader reader = reader_of(dir / "h");
  expect_same(sum_of(reader, "L0", Direction::inbound, Time::min(), Time::max()),
              after.sums.at({"L0", 0}));
}

}  // namespace
}  // namespace fadeward::history::store_test
