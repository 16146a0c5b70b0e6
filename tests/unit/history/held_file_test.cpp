// What waits for a clock outlives the program and a power cut at any byte.
#include "fadeward/history/held_file.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "support/temp_dir.hpp"

namespace fadeward::history::held_file_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kNow = Time{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}} + 10h;

Bin bin(Time start, std::uint32_t frames) {
  Bin out;
  out.start = start;
  out.frames = frames;
  for (std::uint32_t i = 0; i < frames; ++i) out.margin.add(10.0 + i % 7);
  return out;
}

Batch batch(Duration at, std::uint32_t frames = 90) {
  Batch out;
  out.bins = {{"weir", Direction::inbound, bin(Time{at}, frames)},
              {"ridge", Direction::outbound, bin(Time{at}, frames)}};
  EventRecord event;
  event.time = Time{at + 1min};
  event.link = "weir";
  event.onset = Time{at - 20min};
  event.text = "x";
  out.events = {event};
  out.marks = {{Time{at + 2min}, MarkKind::port_down, "mast", "no such device"}};
  return out;
}

std::string bytes_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

TEST(HeldFile, GivesBackWhatItWasGiven) {
  const test::TempDir dir;
  EXPECT_TRUE(HeldFile(dir / "", "a").load()->records.empty()) << "no file is no error";
  ASSERT_TRUE(HeldFile(dir / "", "a").append(batch(900s)));
  ASSERT_TRUE(HeldFile(dir / "", "a").append(batch(1800s, 80)));
  const auto held = HeldFile(dir / "", "a").load();
  ASSERT_TRUE(held);
  const Batch& found = held->records;
  ASSERT_EQ(found.bins.size(), 4U);
  EXPECT_EQ(found.bins[3].link, "ridge");
  EXPECT_EQ(found.bins[3].direction, Direction::outbound);
  EXPECT_EQ(found.bins[3].bin.start, Time{1800s});
  EXPECT_EQ(found.bins[3].bin.frames, 80U);
  EXPECT_EQ(found.bins[3].bin.margin.total(), 80U);
  EXPECT_TRUE(found.bins[3].again) << "it may have been written";
  EXPECT_EQ(found.events, (std::vector{batch(900s).events[0], batch(1800s).events[0]}));
  EXPECT_EQ(found.marks, (std::vector{batch(900s).marks[0], batch(1800s).marks[0]}));
  EXPECT_FALSE(held->offset);
  EXPECT_TRUE(held->dated.empty() && held->undated.empty());
  EXPECT_EQ(held->spoiled, 0U);
  ASSERT_TRUE(HeldFile(dir / "", "a").remove());
  EXPECT_TRUE(HeldFile(dir / "", "a").load()->records.empty());
  EXPECT_TRUE(HeldFile(dir / "", "a").remove()) << "none is no error";
}

// Without its date nothing of another boot can be placed; with the difference of its clocks all can.
TEST(HeldFile, TellsBootsApart) {
  const test::TempDir dir;
  ASSERT_TRUE(HeldFile(dir / "", "a").append(batch(900s)));
  ASSERT_TRUE(HeldFile(dir / "", "b").append(batch(900s)));
  ASSERT_TRUE(HeldFile(dir / "", "b").append_offset(kNow.time_since_epoch()));
  ASSERT_TRUE(HeldFile(dir / "", "c").append(batch(900s)));
  ASSERT_TRUE(HeldFile(dir / "", "").append(batch(900s)));
  const auto held = HeldFile(dir / "", "c").load();
  ASSERT_TRUE(held);
  EXPECT_EQ(held->records.bins.size(), 2U);
  EXPECT_EQ(held->undated.bins.size(), 4U) << "a, and the boot without a name";
  ASSERT_EQ(held->dated.bins.size(), 2U);
  EXPECT_EQ(held->dated.bins[0].bin.start, kNow + 15min);
  ASSERT_EQ(held->dated.events.size(), 1U);
  EXPECT_EQ(held->dated.events[0].time, kNow + 16min);
  EXPECT_EQ(held->dated.events[0].onset, kNow - 5min);
  EXPECT_EQ(HeldFile(dir / "", "b").load()->offset, kNow.time_since_epoch());
  EXPECT_TRUE(HeldFile(dir / "", "").load()->records.empty()) << "no name is no boot";
}

// A date is a date in whatever boot it was written.
TEST(HeldFile, KeepsDates) {
  const test::TempDir dir;
  Batch one = batch(900s);
  one.bins[0].bin.start = kNow;
  ASSERT_TRUE(HeldFile(dir / "", "a").append(one));
  const auto held = HeldFile(dir / "", "b").load();
  ASSERT_TRUE(held);
  ASSERT_EQ(held->dated.bins.size(), 1U);
  EXPECT_EQ(held->dated.bins[0].bin.start, kNow);
  EXPECT_EQ(held->undated.bins.size(), 1U);
}

TEST(HeldFile, LosesTheLastPieceAtMostWhereverItIsCut) {
  const test::TempDir dir;
  HeldFile file(dir / "", "a");
  ASSERT_TRUE(file.append(batch(900s)));
  const std::size_t first = std::filesystem::file_size(file.path());
  ASSERT_TRUE(file.append(batch(1800s)));
  const std::string whole = bytes_of(file.path());
  for (std::size_t cut = 0; cut < whole.size(); ++cut) {
    SCOPED_TRACE(cut);
    dir.file("held", whole.substr(0, cut));
    const auto held = file.load();
    ASSERT_TRUE(held) << held.error().message;
    ASSERT_EQ(held->records.bins.size(), cut < first ? 0U : 2U);
    ASSERT_EQ(held->spoiled > 0, cut != 0 && cut != first && cut != 16) << "16: the head alone";
    // What follows can be read again.
    ASSERT_TRUE(file.append(batch(2700s)));
    ASSERT_EQ(file.load()->records.bins.size(), cut < first ? 2U : 4U);
    ASSERT_EQ(file.load()->spoiled, 0U);
  }
}

TEST(HeldFile, LeavesOutADamagedPieceAndReadsTheOthers) {
  const test::TempDir dir;
  HeldFile file(dir / "", "a");
  ASSERT_TRUE(file.append(batch(900s)));
  const std::size_t first = std::filesystem::file_size(file.path());
  ASSERT_TRUE(file.append(batch(1800s)));
  ASSERT_TRUE(file.append(batch(2700s)));
  std::string bytes = bytes_of(file.path());
  bytes[first + 40] = static_cast<char>(bytes[first + 40] ^ 1);
  dir.file("held", bytes);
  const auto held = file.load();
  ASSERT_TRUE(held);
  ASSERT_EQ(held->records.bins.size(), 4U);
  EXPECT_EQ(held->records.bins[2].bin.start, Time{2700s});
  EXPECT_GT(held->spoiled, 0U);
}

TEST(HeldFile, RefusesAnotherVersion) {
  const test::TempDir dir;
  HeldFile file(dir / "", "a");
  dir.file("held", "fadeward held 9\nsomething");
  EXPECT_FALSE(file.load());
  EXPECT_TRUE(std::filesystem::exists(file.set_aside()));
  EXPECT_TRUE(file.load()->records.empty());
}

TEST(HeldFile, HasASizeThatItKeeps) {
  const test::TempDir dir;
  HeldFile file(dir / "", "a");
  Batch large;
  large.marks = {{Time{1s}, MarkKind::started, "", std::string(1U << 20, 'x')}};
  int pieces = 0;
  while (pieces < 100 && file.append(large)) ++pieces;
  EXPECT_EQ(pieces, 15) << "16 MiB and what frames the pieces";
  EXPECT_LE(std::filesystem::file_size(file.path()), HeldFile::kMostBytes);
  EXPECT_EQ(file.load()->records.marks.size(), 15U) << "what is there stays";
  ASSERT_TRUE(file.replace(batch(900s)));
  EXPECT_EQ(file.load()->records.marks.size(), 1U);
}

TEST(HeldFile, SaysWhatTheDiskDoesNotTake) {
  const test::TempDir dir;
  EXPECT_FALSE(HeldFile(dir / "nowhere", "a").append(batch(900s)));
  EXPECT_FALSE(HeldFile(dir / "nowhere", "a").replace(batch(900s)));
}

// Quarter hours go to the nearest quarter of the true time; two in one are one.
TEST(Placed, GoesByTheDifferenceOfTheClocks) {
  Batch held;
  held.bins = {{"weir", Direction::inbound, bin(Time{100s}, 90)},
               {"weir", Direction::inbound, bin(Time{1000s}, 80)},
               {"weir", Direction::inbound, bin(Time{1100s}, 7)},
               {"weir", Direction::outbound, bin(Time{1100s}, 5)},
               {"weir", Direction::inbound, bin(kNow + 2h, 3)}};
  const Batch out = placed(held, kNow.time_since_epoch() + 400s);
  std::map<std::pair<Direction, Duration>, std::uint32_t> frames;
  for (const BinRecord& record : out.bins)
    frames[{record.direction, record.bin.start - kNow}] += record.bin.frames;
  const std::map<std::pair<Direction, Duration>, std::uint32_t> wanted = {
      {{Direction::inbound, 15min}, 90},  // 500 s after ten
      {{Direction::inbound, 30min}, 87},
      {{Direction::outbound, 30min}, 5},
      {{Direction::inbound, 2h}, 3}};
  EXPECT_EQ(frames, wanted);
  EXPECT_EQ(out.bins.size(), 4U);
}

}  // namespace
}  // namespace fadeward::history::held_file_test
