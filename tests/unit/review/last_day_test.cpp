#include "fadeward/review/last_day.hpp"

#include <gtest/gtest.h>

#include "fadeward/history/store.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/sample_bins.hpp"

namespace fadeward::review::last_day_test {
namespace {

using namespace std::chrono_literals;
using test::at;
using test::kApril2031;

/// A quarter hour at the given hour of 1 April 2031, all its frames at one margin.
history::BinRecord quarter(const char* link, Direction direction, int hour, double margin_db) {
  Bin bin;
  bin.start = at(kApril2031) + 1h * hour + 30min;
  bin.frames = 20;
  bin.margin.add(margin_db, 20);
  return {link, direction, bin};
}

TEST(LastDay, HoldsTheTwentyFourHoursBefore) {
  const test::TempDir dir;
  const auto store = std::move(history::Store::open(dir / "h", {})).value();
  history::Batch batch;
  for (const int hour : {0, 5, 12, 28, 29})
    batch.bins.push_back(quarter("weir", Direction::inbound, hour, hour));
  batch.bins.push_back(quarter("weir", Direction::outbound, 12, 40));
  batch.bins.push_back(quarter("gone", Direction::inbound, 0, 15));
  ASSERT_TRUE(store->write(batch));
  auto reader = std::move(history::Reader::open(dir / "h")).value();

  // At 04:40 on the second day: from 05:00 on the first to 05:00, the hour under way included.
  for (const Duration minutes : {Duration{40min}, Duration{60min}}) {
    const LastDays days = last_days(reader, at(kApril2031) + 28h + minutes);
    ASSERT_EQ(days.size(), 1U) << "a link that was not heard has no line";
    const auto& [inbound, outbound] = days.at("weir");
    for (std::size_t i = 0; i < 24; ++i) {
      const int hour = 5 + static_cast<int>(i);
      EXPECT_EQ(inbound[i],
                hour == 5 || hour == 12 || hour == 28 ? std::optional<double>(hour) : std::nullopt)
          << hour;
      EXPECT_EQ(outbound[i], hour == 12 ? std::optional<double>(40) : std::nullopt) << hour;
    }
  }
  EXPECT_TRUE(last_days(reader, at(kApril2031) + 96h).empty());
}

}  // namespace
}  // namespace fadeward::review::last_day_test
