// Work that is entered after the fact counts as if it had been known, and a difference is said.
#include "fadeward/review/upkeep.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "fadeward/history/store.hpp"
#include "fadeward/review/review.hpp"
#include "support/temp_dir.hpp"

namespace fadeward::review::upkeep_test {
namespace {

using namespace std::chrono_literals;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr Time kStart = Time{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}};

history::PeriodRecord work(Duration from, Duration to, std::string note = "") {
  return {history::PeriodKind::upkeep, "weir", {}, kStart + from, kStart + to, {}, std::move(note)};
}

Upkeep of(const Periods& recorded, const std::optional<Periods>& configured) {
  return upkeep_of(recorded, configured, kStart, kStart + 24h * 30);
}

TEST(Upkeep, OfTheHistoryAloneIsItself) {
  const Upkeep all = of({work(1h, 2h)}, {});
  EXPECT_EQ(all.periods, (Periods{work(1h, 2h)}));
  EXPECT_TRUE(all.differences.empty()) << "nobody to differ from";
}

TEST(Upkeep, IsThatOfBoth) {
  const Upkeep all = of({work(1h, 2h), work(50h, 60h)}, Periods{work(24h, 30h, "mast"), work(1h, 2h)});
  EXPECT_EQ(all.periods, (Periods{work(1h, 2h), work(24h, 30h, "mast"), work(50h, 60h)}));
  EXPECT_THAT(all.differences, ElementsAre(HasSubstr("(mast) is in the configuration and not in"),
                                           HasSubstr("not in the configuration any more")));
  EXPECT_TRUE(of({work(1h, 2h)}, Periods{work(1h, 2h)}).differences.empty());
}

TEST(Upkeep, ThatBeginsAlikeIsTheConfigurations) {
  const Upkeep all = of({work(1h, 2h)}, Periods{work(1h, 9h)});
  EXPECT_EQ(all.periods, (Periods{work(1h, 9h)}));
  EXPECT_THAT(all.differences, ElementsAre(HasSubstr("counted as configured")));
}

TEST(Upkeep, OfAnotherTimeIsNobodysBusiness) {
  const Upkeep all = of({work(-9h, -8h)}, Periods{work(24h * 40, 24h * 41)});
  EXPECT_TRUE(all.periods.empty());
  EXPECT_TRUE(all.differences.empty());
}

TEST(Upkeep, SaysSomeDifferencesAndHowManyMore) {
  Periods many;
  for (int i = 0; i < 20; ++i) many.push_back(work(1h * i, 1h * i + 10min));
  const Upkeep all = of({}, many);
  ASSERT_EQ(all.differences.size(), Upkeep::kMostDifferences + 1);
  EXPECT_THAT(all.differences.back(), HasSubstr("14 more"));
}

TEST(UpkeepTimes, TouchWhatTheyOverlap) {
  const UpkeepTimes times({work(5h, 6h), work(1h, 2h), work(90min, 3h)});
  const auto touch = [&](Duration from, Duration to) { return times.touch(kStart + from, kStart + to); };
  EXPECT_FALSE(touch(0h, 1h));
  EXPECT_TRUE(touch(0h, 61min));
  EXPECT_TRUE(touch(150min, 155min));
  EXPECT_FALSE(touch(3h, 5h));
  EXPECT_TRUE(touch(359min, 12h));
  EXPECT_FALSE(touch(6h, 12h));
  EXPECT_FALSE(UpkeepTimes({}).touch(Time::min(), Time::max()));
}

/// Ten days of one link that is deaf from noon to five on the fourth day, when somebody worked on
/// it. `known`: the bins were told of it.
void write_days(const std::string& dir, bool known) {
  auto store = std::move(history::Store::open(dir, {})).value();
  history::Batch batch;
  batch.at = kStart + 24h * 10;
  for (int quarter = 0; quarter < 960; ++quarter) {
    const Duration at = kBinSpan * quarter;
    const bool worked = at >= 24h * 3 + 12h && at < 24h * 3 + 17h;
    for (const Direction d : {Direction::inbound, Direction::outbound}) {
      Bin bin;
      bin.start = kStart + at;
      bin.frames = worked ? 1 : 90;
      bin.lost = worked ? 89 : 0;
      bin.loss_source = LossSource::seq;
      for (std::uint32_t i = 0; i < bin.frames; ++i) bin.margin.add(worked ? 1 : 20);
      bin.upkeep = known && worked;
      batch.bins.push_back({"weir", d, bin});
    }
  }
  ASSERT_TRUE(store->write(batch));
}

TEST(Upkeep, EnteredLaterCountsAsIfItHadBeenKnown) {
  const Periods mast = {work(24h * 3 + 12h, 24h * 3 + 17h, "mast")};
  const test::TempDir dir;
  write_days(dir / "known", true);
  write_days(dir / "late", false);
  auto known = std::move(history::Reader::open(dir / "known")).value();
  auto late = std::move(history::Reader::open(dir / "late")).value();
  Question question;
  question.link = "weir";
  EXPECT_EQ(report_link(late, question).total[kBothWays].unavailable, 20U)
      << "five hours, while nobody knew";
  question.context.upkeep = mast;
  for (const bool whole : {false, true}) {
    SCOPED_TRACE(whole);
    const auto performance = [&](history::Reader& reader) {
      return whole ? review_link(reader, question).performance : report_link(reader, question);
    };
    const LinkPerformance before = performance(known), after = performance(late);
    for (std::size_t k = 0; k < before.total.size(); ++k) {
      EXPECT_EQ(after.total[k].upkeep, 20U);
      EXPECT_EQ(after.total[k].unavailable, 0U);
      EXPECT_EQ(after.total[k].available, 940U);
      EXPECT_EQ(before.total[k].upkeep, 20U);
      EXPECT_EQ(before.total[k].available, 940U);
    }
    EXPECT_TRUE(after.outages.empty());
    EXPECT_THAT(after.upkeep_differences, ElementsAre(HasSubstr("(mast)")));
  }
  const LinkReview review = review_link(late, question);
  EXPECT_EQ(review.upkeep, mast);
  const auto& days = review.directions[0].digest.days;
  ASSERT_EQ(days.size(), 10U);
  EXPECT_EQ(days[3].upkeep_quarters, 20U);
  EXPECT_FALSE(days[3].counts()) << "no measure of how the link stands";
  EXPECT_TRUE(days[4].counts());
  EXPECT_EQ(review.directions[0].digest.months.at(0).upkeep_quarters, 20U);
}

}  // namespace
}  // namespace fadeward::review::upkeep_test
