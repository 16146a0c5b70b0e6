#include "fadeward/simulate/random.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

namespace fadeward::simulate::random_test {
namespace {

constexpr std::uint64_t kSeed = 20310401;

// Output of the authors' reference code for seed 1234567, as printed widely (Rosetta Code,
// "Pseudo-random numbers/Splitmix64").
TEST(Random, Splitmix64GivesTheReferenceValues) {
  SplitMix64 generator(1234567);
  for (const std::uint64_t expected :
       {6457827717110365317U, 3203168211198807973U, 9817491932198370423U, 4593380528125082431U,
        16408922859458223821U}) {
    EXPECT_EQ(generator.next(), expected);
  }
}

// Output of the authors' reference code (Blackman and Vigna, xoshiro256plusplus.c) for state
// 1, 2, 3, 4, as used in the test suites of several libraries.
TEST(Random, Xoshiro256PlusPlusGivesTheReferenceValues) {
  Random generator(std::array<std::uint64_t, 4>{1, 2, 3, 4});
  for (const std::uint64_t expected :
       {41943041UL, 58720359UL, 3588806011781223U, 3591011842654386U, 9228616714210784205U,
        9973669472204895162U, 14011001112246962877U, 12406186145184390807U, 15849039046786891736U,
        10450023813501588000U}) {
    EXPECT_EQ(generator.next(), expected);
  }
}

TEST(Random, UniformHasTheMomentsOfAUniform) {
  SCOPED_TRACE(kSeed);
  Random random(kSeed);
  constexpr int kDraws = 1'000'000;
  double sum = 0, squares = 0;
  for (int i = 0; i < kDraws; ++i) {
    const double u = random.uniform();
    ASSERT_GE(u, 0.0);
    ASSERT_LT(u, 1.0);
    sum += u;
    squares += u * u;
  }
  // Standard errors: sqrt(1/12/n) = 2.9e-4 and sqrt(4/45/n) = 3.0e-4.
  EXPECT_NEAR(sum / kDraws, 0.5, 5 * 2.9e-4);
  EXPECT_NEAR(squares / kDraws, 1.0 / 3.0, 5 * 3.0e-4);
}

// Kolmogorov 1933: sqrt(n) times the largest distance exceeds 2.23 once in 10,000 samples.
TEST(Random, NormalFollowsTheErrorFunction) {
  SCOPED_TRACE(kSeed);
  Random random(kSeed);
  std::vector<double> sample(200'000);
  for (double& x : sample) x = random.normal();
  std::sort(sample.begin(), sample.end());
  const double n = static_cast<double>(sample.size());
  double distance = 0;
  for (std::size_t i = 0; i < sample.size(); ++i) {
    const double expected = 0.5 * std::erfc(-sample[i] / std::sqrt(2.0));
    distance = std::max({distance, std::abs(expected - static_cast<double>(i) / n),
                         std::abs(expected - static_cast<double>(i + 1) / n)});
  }
  EXPECT_LT(distance * std::sqrt(n), 2.23);
}

TEST(Random, ExponentialHasItsMeanAndVariance) {
  SCOPED_TRACE(kSeed);
  Random random(kSeed);
  constexpr int kDraws = 400'000;
  double sum = 0, squares = 0;
  for (int i = 0; i < kDraws; ++i) {
    const double x = random.exponential(3.0);
    sum += x;
    squares += x * x;
  }
  const double mean = sum / kDraws;
  EXPECT_NEAR(mean, 3.0, 5 * 3.0 / std::sqrt(kDraws));
  EXPECT_NEAR(squares / kDraws - mean * mean, 9.0, 5 * 9.0 * std::sqrt(8.0 / kDraws));
}

TEST(Random, BelowReachesEveryValueAlike) {
  SCOPED_TRACE(kSeed);
  Random random(kSeed);
  std::vector<int> seen(50);
  constexpr int kDraws = 500'000;
  for (int i = 0; i < kDraws; ++i) ++seen.at(random.below(50));
  double chi_square = 0;
  for (const int count : seen) chi_square += (count - 10'000.0) * (count - 10'000.0) / 10'000.0;
  EXPECT_LT(chi_square, 94.6);  // 49 degrees of freedom, 1 in 10,000 (tables of chi-square)
}

TEST(Random, StreamsOfOneSeedAreUncorrelated) {
  SCOPED_TRACE(kSeed);
  constexpr int kDraws = 200'000;
  for (const std::uint64_t stream : {1U, 2U, 16U, 1U << 20U}) {
    Random a(kSeed, 0), b(kSeed, stream);
    double product = 0;
    for (int i = 0; i < kDraws; ++i) product += a.normal() * b.normal();
    EXPECT_NEAR(product / kDraws, 0.0, 5 / std::sqrt(kDraws)) << "stream " << stream;
  }
}

}  // namespace
}  // namespace fadeward::simulate::random_test
