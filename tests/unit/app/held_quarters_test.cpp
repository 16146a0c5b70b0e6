// A gateway without a clock, from the radio to the history: what is heard before the time is known
// survives the end of the program, lies where it belongs, and never in a year that did not happen.
#include <gtest/gtest.h>

#include <filesystem>
#include <map>

#include "fadeward/app/history_feed.hpp"
#include "fadeward/app/history_writer.hpp"
#include "fadeward/history/reader.hpp"
#include "support/temp_dir.hpp"
#include "support/weir.hpp"

namespace fadeward::app::held_quarters_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kBooted = Time{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}} + 10h;

/// One run of the program. What it had told its writer is on disk when it ends; what is open is not.
class Program {
 public:
  Program(const std::string& dir, Instant start, const std::string& boot)
      : now(start), core_(settings_, now, options(boot)) {
    writer_ = std::move(
        HistoryWriter::open(dir, {}, [](HistoryWriter::Tone, const std::string&) {}, boot)).value();
    if (feed.restore(writer_->take_held(), now)) writer_->hold(feed.take_held(), true);
    feed.started("1", now);
    keep();
  }
  ~Program() { EXPECT_TRUE(writer_->finish()); }

  void listen(Duration span) {
    for (const Time end = now.wall + span; now.wall < end;) {
      LinkReport report = test::weir_report(++seq_);
      core_.take(report, now);
      now.wall += 10s;
      now.steady += 10s;
      core_.tick(now);
      core_.clear_events();
      if (now.steady % 60s == 0s) keep();
    }
  }
  void clock_is_put_right(Time wall) {
    now.wall = wall;
    core_.tick(now);
    keep();
  }

  Instant now;
  HistoryFeed feed;

 private:
  static judge::SupervisorOptions options(const std::string& boot) {
    judge::SupervisorOptions out;
    out.keep_bins = true;
    out.boot = boot;
    return out;
  }
  void keep() {
    feed.look(*core_.snapshot(now), now);
    feed.collect(core_, settings_, now);
    writer_->push(feed.take(now), now.wall);
    writer_->hold(feed.take_held());
  }

  Settings settings_ = test::weir_settings();
  judge::Supervisor core_;
  std::unique_ptr<HistoryWriter> writer_;
  std::uint64_t seq_ = 0;
};

/// Frames by quarter hour after kBooted; anything of another year fails.
std::map<Duration, std::uint64_t> kept(const std::string& dir) {
  std::map<Duration, std::uint64_t> out;
  auto reader = history::Reader::open(dir);
  if (!reader) return out;
  for (const std::string& link : reader->links())
    reader->bins(link, Direction::inbound, Time::min(), Time::max(), [&](const history::Summary& bin) {
      EXPECT_GE(bin.start, kBooted - 24h);
      EXPECT_LE(bin.start, kBooted + 24h * 30);
      out[bin.start - kBooted] += bin.frames;
    });
  return out;
}

std::vector<history::MarkRecord> marks(const std::string& dir, history::MarkKind kind) {
  auto reader = history::Reader::open(dir);
  if (!reader) return {};
  auto out = reader->marks(Time::min(), Time::max());
  std::erase_if(out, [&](const history::MarkRecord& mark) { return mark.kind != kind; });
  return out;
}

using Quarters = std::map<Duration, std::uint64_t>;
constexpr Quarters::value_type quarter(int number) { return {kBinSpan * number, 90}; }

TEST(HeldQuarters, OutliveTheProgramInTheSameBoot) {
  const test::TempDir dir;
  {
    Program run(dir / "h", {Time{0s}, 0s}, "a");
    run.listen(50min);  // three whole ones, and five minutes that are lost with the program
  }
  EXPECT_TRUE(kept(dir / "h").empty()) << "nothing has a date yet";
  EXPECT_TRUE(std::filesystem::exists(dir / "h/held"));
  {
    Program run(dir / "h", {Time{60min}, 60min}, "a");
    run.listen(31min);
    run.clock_is_put_right(kBooted + 91min);
    run.listen(30min);
    EXPECT_EQ(run.feed.dropped(), 0U);
  }
  EXPECT_EQ(kept(dir / "h"),
            (Quarters{quarter(0), quarter(1), quarter(2), quarter(4), quarter(5), quarter(6), quarter(7)}));
  EXPECT_FALSE(std::filesystem::exists(dir / "h/held")) << "it has done its work";
  const auto started = marks(dir / "h", history::MarkKind::started);
  ASSERT_EQ(started.size(), 2U);
  EXPECT_EQ(started[0].time, kBooted);
  EXPECT_EQ(started[1].time, kBooted + 60min);
}

TEST(HeldQuarters, ArePlacedByAProgramThatStartsWithAClock) {
  const test::TempDir dir;
  Program(dir / "h", {Time{0s}, 0s}, "a").listen(31min);
  { Program run(dir / "h", {kBooted + 5h, 5h}, "a"); }
  EXPECT_EQ(kept(dir / "h"), (Quarters{quarter(0), quarter(1)}));
  EXPECT_FALSE(std::filesystem::exists(dir / "h/held"));
}

// A power cut between the history and the end of the file: everything is placed a second time.
TEST(HeldQuarters, PlacedTwiceAreCountedOnce) {
  const test::TempDir dir;
  Program(dir / "h", {Time{0s}, 0s}, "a").listen(46min);
  std::filesystem::copy_file(dir / "h/held", dir / "copy");
  { Program run(dir / "h", {kBooted + 5h, 5h}, "a"); }
  const Quarters once = kept(dir / "h");
  EXPECT_EQ(once, (Quarters{quarter(0), quarter(1), quarter(2)}));
  std::filesystem::copy_file(dir / "copy", dir / "h/held");
  { Program run(dir / "h", {kBooted + 6h, 6h}, "a"); }
  EXPECT_EQ(kept(dir / "h"), once);
}

// The first attempt has noted where it placed them; a clock that has moved since changes nothing.
TEST(HeldQuarters, ArePlacedWhereTheFirstAttemptDid) {
  for (const std::string boot : {"a", "b"}) {
    const test::TempDir dir;
    Program(dir / "h", {Time{0s}, 0s}, "a").listen(16min);
    ASSERT_TRUE(history::HeldFile(dir / "h", "a").append_offset(kBooted.time_since_epoch()));
    { Program run(dir / "h", {kBooted + 5h + 20min, 5h}, boot); }
    EXPECT_EQ(kept(dir / "h"), Quarters{quarter(0)}) << boot;
  }
}

// The power went before anybody knew the time: it is said, counted, and in no year at all.
TEST(HeldQuarters, OfABootThatNeverKnewTheTimeAreCounted) {
  const test::TempDir dir;
  Program(dir / "h", {Time{0s}, 0s}, "a").listen(50min);
  {
    Program run(dir / "h", {Time{20s}, 20s}, "b");
    EXPECT_GE(run.feed.dropped(), 3U);
    run.listen(16min);
  }
  {  // And once more in the same boot: what was said of the first one must not get lost either.
    Program run(dir / "h", {Time{30min}, 30min}, "b");
    run.clock_is_put_right(kBooted + 30min);
    run.listen(15min);
    EXPECT_EQ(run.feed.dropped(), 0U) << "counted by the run that left them out";
  }
  EXPECT_EQ(kept(dir / "h"), (Quarters{{0min, 88}, quarter(2)}));
  const auto undated = marks(dir / "h", history::MarkKind::undated);
  ASSERT_EQ(undated.size(), 1U);
  EXPECT_EQ(undated[0].time, kBooted + 20s) << "the start that found them";
  EXPECT_EQ(undated[0].text, "3 quarter hours of 1 link");
}

TEST(HeldQuarters, AreNoMoreThanADayOfEachDirection) {
  const test::TempDir dir;
  Program run(dir / "h", {Time{0s}, 0s}, "a");
  run.listen(26h);
  EXPECT_EQ(run.feed.dropped(), 26U * 4 - HistoryFeed::kMostHeldBins);
  run.clock_is_put_right(kBooted + 26h);
}

}  // namespace
}  // namespace fadeward::app::held_quarters_test
