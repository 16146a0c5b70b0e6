#include "fadeward/estimate/binomial.hpp"

#include <gtest/gtest.h>

#include <boost/math/distributions/beta.hpp>
#include <cmath>

namespace fadeward::estimate::binomial_test {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1: 4 defectives of 20, 90 % two-sided,
// 0.071354 to 0.401029 (from memory). Clopper and Pearson's own chart, as reprinted in handbooks,
// 95 %: 0 of 10 to 0.3085, 1 of 10 0.0025 to 0.4450, 5 of 10 0.1871 to 0.8129 (from memory).
TEST(Binomial, HandbookValues) {
  const ShareInterval nist = share_interval(4, 20, 0.90);
  EXPECT_NEAR(nist.low, 0.071354, 1e-6);
  EXPECT_NEAR(nist.high, 0.401029, 1e-6);
  const ShareInterval none = share_interval(0, 10, 0.95);
  EXPECT_EQ(none.low, 0);
  EXPECT_NEAR(none.high, 0.3085, 5e-5);
  const ShareInterval one = share_interval(1, 10, 0.95);
  EXPECT_NEAR(one.low, 0.0025, 5e-5);
  EXPECT_NEAR(one.high, 0.4450, 5e-5);
  const ShareInterval half = share_interval(5, 10, 0.95);
  EXPECT_NEAR(half.low, 0.1871, 5e-5);
  EXPECT_NEAR(half.high, 0.8129, 5e-5);
}

/// P(at most `count` of `trials`), summed term by term.
double chance_of_at_most(std::uint64_t count, std::uint64_t trials, double share) {
  double sum = 0;
  const double n = static_cast<double>(trials);
  for (std::uint64_t k = 0; k <= count; ++k) {
    const double x = static_cast<double>(k);
    sum += std::exp(std::lgamma(n + 1) - std::lgamma(x + 1) - std::lgamma(n - x + 1) +
                    x * std::log(share) + (n - x) * std::log1p(-share));
  }
  return sum;
}

// The definition: at the upper limit so few are seen with a chance of 1 - confidence only.
TEST(Binomial, LimitsAreWhereTheTailsAre) {
  for (const auto& [count, trials] : {std::pair{0U, 300U}, {3U, 700U}, {17U, 90U}, {250U, 400U}}) {
    const double high = share_at_most(count, trials, 0.95);
    EXPECT_NEAR(chance_of_at_most(count, trials, high), 0.05, 1e-6) << count << " of " << trials;
    if (count == 0) continue;
    const double low = share_at_least(count, trials, 0.95);
    EXPECT_NEAR(1 - chance_of_at_most(count - 1, trials, low), 0.05, 1e-6)
        << count << " of " << trials;
  }
}

// Clopper and Pearson's limits are quantiles of the beta distribution (Boost.Math): alpha / 2 of
// B(x, n - x + 1) and 1 - alpha / 2 of B(x + 1, n - x).
TEST(Binomial, LimitsAreQuantilesOfTheBetaDistribution) {
  using Beta = boost::math::beta_distribution<double>;
  for (const double trials : {7.0, 20.0, 300.0, 900.0, 100'000.0})
    for (const double share : {0.0, 0.01, 0.2, 0.5, 0.97, 1.0})
      for (const double confidence : {0.8, 0.95, 0.999}) {
        const double count = std::floor(share * trials);
        const double tail = (1 - confidence) / 2;
        const ShareInterval limits = share_interval(static_cast<std::uint64_t>(count),
                                                    static_cast<std::uint64_t>(trials), confidence);
        const double low = count > 0 ? quantile(Beta(count, trials - count + 1), tail) : 0;
        const double high =
            count < trials ? quantile(complement(Beta(count + 1, trials - count), tail)) : 1;
        EXPECT_NEAR(limits.low, low, 1e-9) << count << " of " << trials << ", " << confidence;
        EXPECT_NEAR(limits.high, high, 1e-9) << count << " of " << trials << ", " << confidence;
      }
}

// Success-run numbers of reliability handbooks: 59 trials without failure show 5 % at 95 %, 299
// show 1 %, 22 show 10 % at 90 % (ln(1 - confidence) / ln(1 - limit), rounded up).
TEST(Binomial, TrialsWithoutFailure) {
  EXPECT_EQ(trials_to_show(0, 0.05, 0.95), 59U);
  EXPECT_EQ(trials_to_show(0, 0.01, 0.95), 299U);
  EXPECT_EQ(trials_to_show(0, 0.10, 0.90), 22U);
  EXPECT_EQ(trials_to_show(0, 0.001, 0.95), 2995U);
}

// The same tables, failures allowed: 93 with one, 124 with two show 5 % at 95 %; 473 with one show
// 1 % (from memory).
TEST(Binomial, TrialsWithFailures) {
  EXPECT_EQ(trials_to_show(1, 0.05, 0.95), 93U);
  EXPECT_EQ(trials_to_show(2, 0.05, 0.95), 124U);
  EXPECT_EQ(trials_to_show(1, 0.01, 0.95), 473U);
  EXPECT_EQ(count_that_shows(92, 0.05, 0.95), 0U);
  EXPECT_EQ(count_that_shows(93, 0.05, 0.95), 1U);
  EXPECT_FALSE(count_that_shows(58, 0.05, 0.95));
}

TEST(Binomial, WhatCannotBeKnown) {
  EXPECT_FALSE(trials_to_show(0, 0, 0.95));
  EXPECT_EQ(share_interval(0, 0, 0.95).high, 1);
  EXPECT_EQ(share_interval(7, 7, 0.95).high, 1);
  EXPECT_GT(share_interval(7, 7, 0.95).low, 0.5);
  EXPECT_EQ(count_that_shows(10, 1, 0.95), 10U);
}

}  // namespace
}  // namespace fadeward::estimate::binomial_test
