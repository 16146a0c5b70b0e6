// Five invented years through the store and back: the review must find what is true of them.
#include "fadeward/review/review.hpp"

#include <gtest/gtest.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "fadeward/review/words.hpp"
#include "support/temp_dir.hpp"
#include "support/valley_years.hpp"

namespace fadeward::review::review_test {
namespace {

using namespace std::chrono_literals;
using test::date;
using test::ValleyYears;

class FiveYears : public testing::Test {
 protected:
  static void EveryDayAndMonthIsThere();
  static void MonthsHoldWhatTheirDaysHold();
  static void AQuietMonthStandsWhereItShould();
  static void LeavesCostWhatTheyCost();
  static void TheBarnIsAStepOfThePath();
  static void ThreeChangesStayed();
  static void TheMastVisitGaveBackWhatTheWaterTook();
  static void TheDriveIsNoiseByDayInJuly();
  static void TheBadChannelStandsOut();
  static void AvailabilityKnowsSilenceFromAbsence();
  static void TheTrendIsHeldAgainstTheSameMonths();
  static void APartOfIt();

  static void SetUpTestSuite() {
    if (std::filesystem::is_directory("/dev/shm"))
      ::setenv("TMPDIR", "/dev/shm", 0);  // no flash to wait for
    dir_ = new test::TempDir;
    const std::string failed = test::write_valley_years(*dir_ / "years", truth_);
    ASSERT_EQ(failed, "");
    auto opened = history::Reader::open(*dir_ / "years");
    ASSERT_TRUE(opened);
    Question question;
    question.link = "sluice";
    question.context.warning_db = 10;
    const auto begin = std::chrono::steady_clock::now();
    review_ = new LinkReview(review_link(*opened, question));
    const auto took = std::chrono::steady_clock::now() - begin;
    std::printf("review of five years: %.0f ms\n",
                std::chrono::duration<double>(took).count() * 1000);
    for (const StoryLine& line : review_->story)
      std::printf("%s: %s\n", line.topic.c_str(), line.text.c_str());
  }
  static void TearDownTestSuite() {
    delete review_;
    delete dir_;
    review_ = nullptr;
    dir_ = nullptr;
  }

  static const Comparison* comparison(std::string_view what, bool same_weeks) {
    for (const Comparison& one : review_->comparisons)
      if (one.what.find(what) != std::string::npos && one.same_weeks == same_weeks) return &one;
    return nullptr;
  }

  inline static ValleyYears truth_;
  inline static test::TempDir* dir_ = nullptr;
  inline static LinkReview* review_ = nullptr;
};

void FiveYears::EveryDayAndMonthIsThere() {
  for (const DirectionReview& one : review_->directions) {
    EXPECT_EQ(one.digest.days.size(), 1827u);
    EXPECT_EQ(one.digest.months.size(), 60u);
    EXPECT_EQ(one.years.size(), 6u);
  }
  EXPECT_EQ(review_->from, truth_.start);
  EXPECT_EQ(review_->to, truth_.end);
  EXPECT_TRUE(review_->problems.empty());
}

// A month's frames are all of its quarter hours' frames, through packing and roll-up.
void FiveYears::MonthsHoldWhatTheirDaysHold() {
  const Digest& digest = review_->directions[0].digest;
  for (const SpanRow& month : digest.months) {
    std::uint64_t frames = 0, lost = 0;
    for (const SpanRow& day : digest.days)
      if (day.from >= month.from && day.from < month.to) {
        frames += day.frames;
        lost += day.lost;
      }
    EXPECT_EQ(month.frames, frames);
    EXPECT_EQ(month.lost, lost);
    EXPECT_LE(*month.margin_low_db, *month.margin_db);
    EXPECT_GE(*month.margin_high_db, *month.margin_db);
  }
}

// January 2032: neither leaves nor anything else; margin = signal - noise - required SNR.
void FiveYears::AQuietMonthStandsWhereItShould() {
  for (const SpanRow& month : review_->directions[0].digest.months) {
    if (month.from != date(2032, 1, 1)) continue;
    const double truth_db =
        truth_.inbound_signal_dbm - truth_.outside_noise_dbm - truth_.required_snr_db;
    EXPECT_NEAR(*month.margin_db, truth_db, 0.6);  // weather: 0.8 dB that forgets in two days
    // 1 % of fifteen normal levels of 3.2 dB: below the second lowest, -1.834 deviations
    EXPECT_NEAR(*month.margin_low_db, truth_db - 1.834 * 3.2, 2.0);
    return;
  }
  FAIL() << "no January 2032";
}

double days_after(Time from, Time to) { return duration_to_seconds(to - from) / 86400; }

void FiveYears::LeavesCostWhatTheyCost() {
  for (const DirectionReview& one : review_->directions) {
    ASSERT_EQ(one.leaves.size(), 5u);
    for (const LeafYear& year : one.leaves) {
      // The barn came in June 2033, the water began in September 2034 and went in March 2035: taken
      // out, as sure as their own sizes.
      const double doubt_db = year.year < 2033 ? 0.3 : 0.6;
      EXPECT_TRUE(year.alone()) << year.year;
      EXPECT_LE(year.margin.low - doubt_db, -truth_.leaves_db) << year.year;
      EXPECT_GE(year.margin.high + doubt_db, -truth_.leaves_db) << year.year;
      EXPECT_LT(year.margin.p, 1e-4) << year.year;
      // Half out on day 122, half gone on day 290 of the year.
      ASSERT_TRUE(year.out && year.gone) << year.year;
      EXPECT_NEAR(days_after(date(year.year, 1, 1), *year.out), 122, 7) << year.year;
      EXPECT_NEAR(days_after(date(year.year, 1, 1), *year.gone), 290, 7) << year.year;
    }
  }
}

void FiveYears::TheBarnIsAStepOfThePath() {
  ASSERT_EQ(review_->steps.size(), 1u);
  const Comparison* barn = &review_->steps[0].across;
  for (const auto& shift : barn->margin) {
    ASSERT_TRUE(shift);
    EXPECT_NEAR(shift->difference, -truth_.barn_db, 0.8);
    EXPECT_LT(shift->high, -3);
  }
  EXPECT_EQ(likely_cause(*barn), Cause::path);
}

// The barn, the water that rises over five months, and the mast visit; nothing else.
void FiveYears::ThreeChangesStayed() {
  ASSERT_EQ(review_->lasting.size(), 3u);
  const LastingChange &barn = review_->lasting[0], &water = review_->lasting[1],
                      &visit = review_->lasting[2];
  EXPECT_LT(std::abs(days_after(truth_.barn, barn.middle())), 2);
  EXPECT_EQ(likely_cause(barn), Cause::path);
  EXPECT_NEAR(barn.levels.margin[0]->difference, -truth_.barn_db, 0.8);
  EXPECT_TRUE(water.slow());
  EXPECT_LT(std::abs(days_after(truth_.feeder_from, water.from)), 25);
  EXPECT_LT(std::abs(days_after(truth_.feeder_full, water.to)), 35);
  EXPECT_EQ(likely_cause(water), Cause::far_antenna);
  EXPECT_NEAR(water.levels.signal[1]->difference, -truth_.feeder_db, 1.2);
  EXPECT_LT(std::abs(days_after(truth_.mast_from, visit.middle())), 2);
  EXPECT_EQ(likely_cause(visit), Cause::far_antenna);
  EXPECT_NEAR(visit.levels.signal[0]->difference, truth_.feeder_db, 0.8);
}

void FiveYears::TheMastVisitGaveBackWhatTheWaterTook() {
  const Comparison* visit = comparison("feeder replaced", false);
  ASSERT_NE(visit, nullptr);
  // Inbound: signal back by 6 dB, noise unchanged.
  ASSERT_TRUE(visit->margin[0]);
  EXPECT_LE(visit->margin[0]->low, truth_.feeder_db);
  EXPECT_GE(visit->margin[0]->high, truth_.feeder_db);
  EXPECT_GT(visit->margin[0]->low, 4);
  EXPECT_EQ(likely_cause(*visit), Cause::far_antenna);
}

void FiveYears::TheDriveIsNoiseByDayInJuly() {
  const Digest& digest = review_->directions[0].digest;
  // All Julys together: one of five had twenty days of it; the others hide it from the median. The
  // month itself shows it.
  const auto july = std::ranges::find(digest.months, date(2032, 7, 1), &SpanRow::from);
  const auto before = std::ranges::find(digest.months, date(2032, 6, 1), &SpanRow::from);
  ASSERT_NE(july, digest.months.end());
  EXPECT_GT(*before->margin_low_db - *july->margin_low_db, 3);
  const bool told = std::ranges::any_of(review_->story, [](const StoryLine& line) {
    return line.topic == "Change" && line.text.find("1 July 2032") != std::string::npos &&
           line.text.find("near the gateway") != std::string::npos;
  });
  EXPECT_TRUE(told);
}

void FiveYears::TheBadChannelStandsOut() {
  const auto& channels = review_->directions[0].digest.channels;
  ASSERT_EQ(channels.size(), 10u);
  for (const ChannelRow& row : channels) {
    ASSERT_TRUE(row.last_noise_offset_db);
    EXPECT_NEAR(*row.last_noise_offset_db, row.channel == 7 ? truth_.bad_channel_db : 0, 0.3)
        << row.channel;
  }
  for (const ChannelRow& row : review_->directions[1].digest.channels)
    EXPECT_NEAR(row.noise_offset_db, 0, 0.3);
}

// Nine hours of silence: an outage. Two hours in which the gateway did not run: missing data. Six
// hours on the mast: upkeep. Hours are all there is of the older years.
void FiveYears::AvailabilityKnowsSilenceFromAbsence() {
  const LinkPerformance& all = review_->performance;
  ASSERT_TRUE(all.interval);
  EXPECT_EQ(*all.interval, Duration{1h});
  EXPECT_EQ(all.total[kBothWays].no_data, 2u);
  EXPECT_EQ(all.total[kBothWays].upkeep, 6u);
  // Nine hourly intervals are one short of an outage: they are severely errored instead.
  EXPECT_EQ(all.total[kBothWays].unavailable, 0u);
  EXPECT_GE(all.total[kBothWays].severely_errored, 9u);
  std::uint64_t judged = 0;
  for (const PerformanceMonth& month : all.months) judged += month.tallies[kBothWays].available;
  EXPECT_EQ(judged, all.total[kBothWays].available);
}

void FiveYears::TheTrendIsHeldAgainstTheSameMonths() {
  const LongTrend& trend = review_->directions[0].trend;
  EXPECT_TRUE(trend.season_known);
  ASSERT_TRUE(trend.db_per_year);
  EXPECT_LT(*trend.db_per_year, 0);  // the barn
  ASSERT_TRUE(trend.crossing);
}

void FiveYears::APartOfIt() {
  auto opened = history::Reader::open(*dir_ / "years");
  ASSERT_TRUE(opened);
  Question question;
  question.link = "sluice";
  question.from = date(2035, 6, 1);
  question.to = date(2035, 7, 1);
  const LinkReview part = review_link(*opened, question);
  EXPECT_EQ(part.directions[0].digest.days.size(), 30u);
  EXPECT_EQ(*part.performance.interval, Duration{15min});
  EXPECT_EQ(part.performance.total[0].available, 30u * 96);
  question.link = "nobody";
  EXPECT_TRUE(review_link(*opened, question).empty());
  question.from = date(2050, 1, 1);
  question.to.reset();
  const LinkReview later = review_link(*opened, question);
  EXPECT_TRUE(later.empty());
  ASSERT_EQ(later.story.size(), 1u) << "nothing is said to be nothing";
  EXPECT_NE(later.story[0].text.find("no data"), std::string::npos);
}

std::string story_words(const std::vector<StoryLine>& story) {
  std::string out;
  for (const StoryLine& line : story) out += line.topic + ": " + line.text + "\n";
  return out;
}

// The last that was heard of a link is not the end of the record while the program lives on.
TEST(Review, SilenceAtTheEndCounts) {
  test::TempDir dir;
  auto opened = history::Store::open(dir / "h", {});
  ASSERT_TRUE(opened);
  ValleyYears truth;
  test::ValleyMaker maker(truth, 3);
  history::Batch batch;
  batch.at = truth.start;
  std::array<Bin, kDirections> bins;
  for (Time at = truth.start; at < truth.start + 48h; at += kBinSpan) {
    ASSERT_TRUE(maker.make(at, bins));
    batch.bins.push_back({"sluice", Direction::inbound, bins[0]});
  }
  batch.events.push_back(test::event_of(truth.start + 48h + 30min, history::EventChange::raised,
                                        AlertName::LinkSilent, Cause::silent, Shape::none,
                                        truth.start + 48h, {}, "No report for 15 min."));
  batch.marks.push_back({truth.start + 72h, history::MarkKind::stopped, "", ""});
  ASSERT_TRUE((*opened)->write(batch));
  ASSERT_TRUE((*opened)->close());
  auto reader = history::Reader::open(dir / "h");
  ASSERT_TRUE(reader);
  Question question;
  question.link = "sluice";
  const LinkPerformance all = report_link(*reader, question);
  EXPECT_EQ(all.total[0].available, 192u);
  EXPECT_EQ(all.total[0].unavailable, 96u);
  ASSERT_EQ(all.outages.size(), 1u);
  EXPECT_TRUE(all.outages[0].open);
  EXPECT_EQ(all.outages[0].cause, Cause::silent);
  EXPECT_EQ(all.outages[0].direction, Direction::inbound) << "nothing is known of the other";
  EXPECT_NE(story_words(review_link(*reader, question).story).find("of the time inbound"),
            std::string::npos);
  question.to = truth.start + 60h;
  EXPECT_EQ(report_link(*reader, question).total[0].unavailable, 48u);
}

// 0.1 dB a day for 60 days (the known truth): told as 6 dB, not as 36.5 dB a year.
TEST(Review, ASlopeIsToldForAsLongAsItWasSeen) {
  LinkReview review;
  review.link = "sluice";
  auto& one = review.directions[0];
  for (int day = 0; day < 60; ++day) {
    SpanRow row;
    row.from = date(2031, 4, 1) + 24h * day;
    row.to = row.from + 24h;
    row.quarters = 96;
    row.margin_db = 25 - 0.1 * day + (day % 3 - 1) * 0.05;
    one.digest.days.push_back(row);
  }
  one.trend = long_trend(one.digest.days, {}, {});
  for (const StoryLine& line : story_of(review)) {
    if (line.topic != "Trend") continue;
    EXPECT_NE(line.text.find("the margin fell by 6.0 dB over the record"), std::string::npos)
        << line.text;
    EXPECT_EQ(line.text.find("year if"), std::string::npos);
    EXPECT_EQ(line.text.find("included"), std::string::npos);
    review.lasting.emplace_back();
    EXPECT_NE(story_words(story_of(review)).find("over the record, the changes told below included;"),
              std::string::npos);
    return;
  }
  FAIL() << "no trend told";
}

// With a winter on one side only, a slow change does not cancel.
TEST(Review, OneWinterIsSaidToBeOne) {
  LinkReview review;
  review.link = "sluice";
  auto& one = review.directions[0];
  SpanRow day;
  day.from = date(2031, 4, 1);
  day.to = day.from + 24h;
  one.digest.days.push_back(day);
  estimate::Shift shift;
  shift.difference = -3;
  shift.low = -3.2;
  shift.high = -2.9;
  shift.p = 1e-9;
  one.leaves = {{2031, false, shift, 0}};
  EXPECT_NE(story_words(story_of(review)).find("one winter beside it"),
            std::string::npos);
  one.leaves = {{2031, true, shift, 0.1}};
  EXPECT_NE(story_words(story_of(review)).find("winters around it"), std::string::npos);
}

// 400 days: the last 35 have a day a year before.
TEST(Review, FewDaysKnownTwiceAreCounted) {
  LinkReview review;
  review.link = "sluice";
  auto& days = review.directions[0].digest.days;
  for (int day = 0; day < 400; ++day) {
    SpanRow row;
    row.from = date(2031, 4, 1) + 24h * day;
    row.to = row.from + 24h;
    row.quarters = 96;
    row.margin_db = 20 + (day * 7 % 11) * 0.1;
    days.push_back(row);
  }
  const Time end = days.back().to;
  review.last_weeks =
      compare_with_year_before({&days, nullptr}, "the last 60 days", end - 24h * 60, end);
  EXPECT_NE(story_words(story_of(review)).find("35 days known in both years"), std::string::npos);
}

// A link that came a week after the others did not exist before: its availability begins with it.
TEST(Review, ALinkExistsFromItsFirstQuarterHour) {
  test::TempDir dir;
  auto opened = history::Store::open(dir / "h", {});
  ASSERT_TRUE(opened);
  const ValleyYears truth;
  history::Batch batch;
  batch.at = truth.start;
  batch.marks.push_back({truth.start, history::MarkKind::started, "", ""});
  for (const auto& [name, begin] : {std::pair{"old", truth.start}, {"new", truth.start + 168h}}) {
    test::ValleyMaker maker(truth, 3);
    std::array<Bin, kDirections> bins;
    for (Time at = begin; at < truth.start + 216h; at += kBinSpan) {
      ASSERT_TRUE(maker.make(at, bins));
      batch.bins.push_back({name, Direction::inbound, bins[0]});
    }
  }
  ASSERT_TRUE((*opened)->write(batch));
  ASSERT_TRUE((*opened)->close());
  auto reader = history::Reader::open(dir / "h");
  ASSERT_TRUE(reader);
  for (const auto& [name, quarters] : {std::pair{"old", 216u * 4}, {"new", 48u * 4}}) {
    Question question;
    question.link = name;
    for (const Tallies& total :
         {report_link(*reader, question).total, review_link(*reader, question).performance.total}) {
      EXPECT_EQ(total[0].available, quarters) << name;
      EXPECT_EQ(total[0].unavailable + total[0].no_data, 0u) << name;
    }
  }
}

// One test: the years are written once.
TEST_F(FiveYears, TellTheirStory) {
  {
    SCOPED_TRACE("EveryDayAndMonthIsThere");
    EveryDayAndMonthIsThere();
  }
  {
    SCOPED_TRACE("MonthsHoldWhatTheirDaysHold");
    MonthsHoldWhatTheirDaysHold();
  }
  {
    SCOPED_TRACE("AQuietMonthStandsWhereItShould");
    AQuietMonthStandsWhereItShould();
  }
  {
    SCOPED_TRACE("LeavesCostWhatTheyCost");
    LeavesCostWhatTheyCost();
  }
  {
    SCOPED_TRACE("TheBarnIsAStepOfThePath");
    TheBarnIsAStepOfThePath();
  }
  {
    SCOPED_TRACE("ThreeChangesStayed");
    ThreeChangesStayed();
  }
  {
    SCOPED_TRACE("TheMastVisitGaveBackWhatTheWaterTook");
    TheMastVisitGaveBackWhatTheWaterTook();
  }
  {
    SCOPED_TRACE("TheDriveIsNoiseByDayInJuly");
    TheDriveIsNoiseByDayInJuly();
  }
  {
    SCOPED_TRACE("TheBadChannelStandsOut");
    TheBadChannelStandsOut();
  }
  {
    SCOPED_TRACE("AvailabilityKnowsSilenceFromAbsence");
    AvailabilityKnowsSilenceFromAbsence();
  }
  {
    SCOPED_TRACE("TheTrendIsHeldAgainstTheSameMonths");
    TheTrendIsHeldAgainstTheSameMonths();
  }
  {
    SCOPED_TRACE("APartOfIt");
    APartOfIt();
  }
}

}  // namespace
}  // namespace fadeward::review::review_test
