#include "fadeward/estimate/rician_k.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>
#include <vector>

namespace fadeward::estimate::rician_k_test {
namespace {

// A steady wave plus complex normal scatter, mean power 1: the definition of Rice fading.
std::vector<double> rice_power(double k, int samples, unsigned seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> scatter(0, std::sqrt(0.5 / (1 + k)));
  const double steady = std::sqrt(k / (1 + k));
  std::vector<double> power;
  for (int i = 0; i < samples; ++i) {
    const double in_phase = steady + scatter(random), quadrature = scatter(random);
    power.push_back(in_phase * in_phase + quadrature * quadrature);
  }
  return power;
}

// Moments of noncentral chi-square with two degrees of freedom: mean 1, variance
// (1 + 2K) / (1 + K)^2.
TEST(RicianK, ExactMomentsGiveTheirK) {
  for (const double k : {0.0, 0.1, 1.0, 2.0, 4.0, 10.0, 100.0, 1e6}) {
    const double variance = (1 + 2 * k) / ((1 + k) * (1 + k));
    EXPECT_NEAR(*rician_k(3.0, 9 * variance), k, 1e-6 * (1 + k)) << k;
  }
}

TEST(RicianK, FindsTheKOfSimulatedFading) {
  for (unsigned seed = 1; seed <= 4; ++seed)
    for (const double k : {1.0, 4.0, 10.0, 30.0}) {
      const auto found = rician_k(rice_power(k, 100'000, seed));
      ASSERT_TRUE(found);
      EXPECT_NEAR(10 * std::log10(*found / k), 0, 0.25) << "K " << k << " seed " << seed;
    }
}

// At K = 0 the estimate is sqrt(1 - G) of a G that scatters around one by sqrt(8/n) (exponential
// power: variance of the sample variance 8/n, of the mean 1/n, correlated), so K stays within
// about sqrt(5 sqrt(8/n)).
TEST(RicianK, RayleighIsNearZero) {
  constexpr int kSamples = 100'000;
  for (unsigned seed = 1; seed <= 8; ++seed)
    EXPECT_LT(*rician_k(rice_power(0, kSamples, seed)), std::sqrt(5 * std::sqrt(8.0 / kSamples)))
        << "seed " << seed;
}

TEST(RicianK, MoreScatterThanRayleighIsZeroAndNoneIsInfinite) {
  EXPECT_EQ(*rician_k(1.0, 1.0), 0);
  EXPECT_EQ(*rician_k(1.0, 7.0), 0);
  EXPECT_TRUE(std::isinf(*rician_k(1.0, 0.0)));
}

TEST(RicianK, RefusesWhatIsNoPower) {
  EXPECT_FALSE(rician_k(0.0, 1.0));
  EXPECT_FALSE(rician_k(-1.0, 1.0));
  EXPECT_FALSE(rician_k(1.0, -1.0));
  EXPECT_FALSE(rician_k(std::numeric_limits<double>::quiet_NaN(), 1.0));
  EXPECT_FALSE(rician_k(1.0, std::numeric_limits<double>::infinity()));
  EXPECT_FALSE(rician_k(std::vector<double>{1.0}));
}

}  // namespace
}  // namespace fadeward::estimate::rician_k_test
