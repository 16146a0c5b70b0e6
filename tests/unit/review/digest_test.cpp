// What is boiled down against quarter hours made by hand.
#include "fadeward/review/digest.hpp"

#include <gtest/gtest.h>

#include "fadeward/history/store.hpp"
#include "support/temp_dir.hpp"
#include "support/valley_years.hpp"

namespace fadeward::review::digest_test {
namespace {

using namespace std::chrono_literals;
using test::date;

// Each hour of each month has a margin of its own.
TEST(Digest, HoursOfTheDayByMonthOfTheYear) {
  const test::TempDir dir;
  const auto store = std::move(history::Store::open(dir / "h", {})).value();
  const auto truth_db = [](unsigned month, int hour) { return 5 + month + hour / 2.0; };
  history::Batch batch;
  for (const auto& [year, month] : {std::pair{2031, 12U}, {2032, 1U}, {2032, 2U}})
    for (const unsigned day : {3U, 4U})
      for (int hour = 0; hour < 24; ++hour) {
        Bin bin;
        bin.start = date(year, month, day, hour) + 15min;
        bin.frames = month == 2 && hour == 7 ? 10 : 20;  // too few of that hour
        bin.margin.add(truth_db(month, hour), static_cast<std::uint16_t>(bin.frames));
        batch.bins.push_back({"weir", Direction::inbound, bin});
      }
  ASSERT_TRUE(store->write(batch));
  auto reader = std::move(history::Reader::open(dir / "h")).value();
  const Digest found =
      digest(reader, "weir", Direction::inbound, date(2031, 1, 1), date(2033, 1, 1));
  for (unsigned month = 1; month <= 12; ++month)
    for (int hour = 0; hour < 24; ++hour) {
      const auto& cell = found.hours[month - 1][static_cast<std::size_t>(hour)];
      const bool known = month == 12 || month == 1 || (month == 2 && hour != 7);
      EXPECT_EQ(cell, known ? std::optional(truth_db(month, hour)) : std::nullopt)
          << month << ' ' << hour;
    }
  ASSERT_EQ(found.days.size(), 6u);
  EXPECT_EQ(found.days[1].from, date(2031, 12, 4));
  EXPECT_EQ(found.days[1].quarters, 24u);
  EXPECT_EQ(found.days[1].frames, 24u * 20);
  ASSERT_EQ(found.months.size(), 3u);
  EXPECT_EQ(found.months[2].frames, 2u * (23 * 20 + 10));
}

}  // namespace
}  // namespace fadeward::review::digest_test
