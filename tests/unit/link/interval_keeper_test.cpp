#include "fadeward/link/interval_keeper.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace fadeward::link::interval_keeper_test {
namespace {

TEST(IntervalKeeper, KeepsNothingUnasked) {
  IntervalKeeper keeper(false);
  keeper.add(-10000, -11700);
  keeper.add_lost(3);
  EXPECT_FALSE(keeper.take());
}

TEST(IntervalKeeper, CountsAndMediansAreThoseOfTheInterval) {
  // Against the definition: the middle of the sorted values, the mean of the two middle ones.
  std::mt19937 random(7);
  std::normal_distribution<double> signal(-100, 6), noise(-117, 2);
  IntervalKeeper keeper(true);
  for (const std::size_t count : {1UL, 2UL, 1023UL, 1024UL, 5000UL, 3UL}) {
    std::vector<int> signals, noises;
    for (std::size_t i = 0; i < count; ++i) {
      signals.push_back(static_cast<int>(100 * signal(random)));
      noises.push_back(static_cast<int>(100 * noise(random)));
      keeper.add(static_cast<std::int16_t>(signals.back()), static_cast<std::int16_t>(noises.back()));
    }
    keeper.add_lost(4);
    keeper.one_lost_fewer();
    const auto interval = keeper.take();
    ASSERT_TRUE(interval);
    const auto middle = [](std::vector<int>& values) {
      std::ranges::sort(values);
      return (values[(values.size() - 1) / 2] + values[values.size() / 2]) / 200.0;
    };
    EXPECT_EQ(interval->frames, count);
    EXPECT_EQ(interval->lost, 3U);
    EXPECT_NEAR(*interval->signal_median_dbm, middle(signals), 1e-9) << count;
    EXPECT_NEAR(*interval->noise_median_dbm, middle(noises), 1e-9) << count;
  }
  keeper.one_lost_fewer();  // of an interval that is told already
  const auto none = keeper.take();
  ASSERT_TRUE(none);
  EXPECT_EQ(none->frames, 0U);
  EXPECT_EQ(none->lost, 0U);
  EXPECT_FALSE(none->signal_median_dbm);
}

}  // namespace
}  // namespace fadeward::link::interval_keeper_test
