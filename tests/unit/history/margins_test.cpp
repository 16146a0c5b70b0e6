// Margins of a month with losses against the level that was invented.
#include "fadeward/history/margins.hpp"

#include <gtest/gtest.h>

#include <random>

namespace fadeward::history::margins_test {
namespace {

/// 20,000 frames of a normal margin; those below nothing are lost.
Summary faded(unsigned seed, double median_db, double deviation_db) {
  std::mt19937 random(seed);
  std::normal_distribution<double> margin(median_db, deviation_db);
  Summary out;
  out.quarters = 1;
  out.loss_source = LossSource::seq;
  for (int i = 0; i < 20000; ++i) {
    const double level = margin(random);
    if (level < 0) {
      ++out.lost;
      continue;
    }
    ++out.frames;
    out.margin.add(level);
  }
  return out;
}

// One in ten is lost: of those heard the middle lies half a decibel too high and the lowest
// hundredth above nothing. Phi(-1.25) = 0.106; the 1 % level of a normal is 2.326 deviations below
// its middle.
TEST(Margins, CountWhatWasLost) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    const Summary sum = faded(seed, 5, 4);
    ASSERT_NEAR(*sum.loss_ratio(), 0.106, 0.01);
    ASSERT_GT(*sum.margin.quantile_db(0.5), 5.3);
    const Margins found = margins_of(sum);
    EXPECT_NEAR(*found.median_db, 5, 0.25) << "seed " << seed;
    EXPECT_NEAR(*found.low_db, 5 - 2.326 * 4, 1.5) << "seed " << seed;
    EXPECT_GT(*found.high_db, *found.median_db);
  }
}

TEST(Margins, AreThoseHeardWhereNothingIsKnownToBeLost) {
  Summary sum = faded(6, 5, 4);
  sum.loss_source = LossSource::none;
  const Margins found = margins_of(sum);
  EXPECT_EQ(*found.median_db, *sum.margin.quantile_db(0.5));
  EXPECT_EQ(*found.low_db, *sum.margin.quantile_db(0.01));
  EXPECT_FALSE(margins_of({}).median_db);
}

}  // namespace
}  // namespace fadeward::history::margins_test
