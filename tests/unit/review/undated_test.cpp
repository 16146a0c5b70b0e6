// Quarter hours without a date: every review whose period holds their mark tells of them.
#include "fadeward/review/undated.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "fadeward/history/store.hpp"
#include "fadeward/review/review.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/sample_bins.hpp"

namespace fadeward::review::undated_test {
namespace {

using namespace std::chrono_literals;
using history::MarkKind;
using test::at;
using test::kApril2031;
using ::testing::AllOf;
using ::testing::HasSubstr;

TEST(Undated, IsWhatTheMarksOfThatNameTell) {
  const Time then = at(kApril2031);
  const std::vector<history::MarkRecord> marks = {{then, MarkKind::started, "", "1.0"},
                                                  {then, MarkKind::undated, "", "a"},
                                                  {then + 1min, MarkKind::stopped, "", ""},
                                                  {then + 2min, MarkKind::undated, "", "b"}};
  const auto found = undated_of(marks);
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0].text, "a");
  EXPECT_EQ(found[1].text, "b");
}

TEST(Undated, IsSaidWithCountAndMoment) {
  const std::string what = "3 quarter hours of 1 link";
  EXPECT_THAT(undated_words({at(kApril2031 + 600), MarkKind::undated, "", what}),
              AllOf(HasSubstr(what), HasSubstr("1 April 2031 00:10 UTC"),
                    HasSubstr("never knew the time"), HasSubstr("no figure")));
  EXPECT_THAT(undated_words({at(kApril2031), MarkKind::undated, "", ""}), HasSubstr("something"));
}

TEST(Undated, StandsInTheReviewOfItsPeriodAlone) {
  const test::TempDir dir;
  {
    auto store = std::move(history::Store::open(dir / "h", {})).value();
    test::BinMaker maker(1);
    history::Batch batch;
    for (int q = 0; q < 96 * 4; ++q)
      batch.bins.push_back(
          {"weir", Direction::inbound, maker.make(at(kApril2031) + kBinSpan * q)});
    batch.marks.push_back(
        {at(kApril2031) + 24h, MarkKind::undated, "", "3 quarter hours of 1 link"});
    batch.at = at(kApril2031) + 24h * 4;
    ASSERT_TRUE(store->write(batch));
  }
  auto reader = std::move(history::Reader::open(dir / "h")).value();
  Question question;
  question.link = "weir";
  const auto told = [](const LinkReview& review) {
    return std::ranges::count(review.story, "Undated", &StoryLine::topic);
  };
  const LinkReview all = review_link(reader, question);
  EXPECT_EQ(all.performance.undated.size(), 1U);
  EXPECT_EQ(told(all), 1);
  EXPECT_EQ(report_link(reader, question).undated.size(), 1U);
  question.from = at(kApril2031) + 48h;
  const LinkReview later = review_link(reader, question);
  EXPECT_TRUE(later.performance.undated.empty());
  EXPECT_EQ(told(later), 0);
}

}  // namespace
}  // namespace fadeward::review::undated_test
