#include "fadeward/simulate/gauss_markov.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace fadeward::simulate::gauss_markov_test {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

constexpr std::uint64_t kSeed = 4711;
constexpr double kSdDb = 0.8;
const Time kStart{seconds(1932768000)};

std::vector<double> path(Duration every, std::size_t values, std::uint64_t seed) {
  GaussMarkov process(kSdDb, minutes(60), kStart, Random(seed));
  std::vector<double> out(values);
  for (std::size_t i = 0; i < values; ++i)
    out[i] = process.at(kStart + every * static_cast<int>(i));
  return out;
}

// Doob 1942: the stationary Gauss-Markov process has autocorrelation exp(-lag / time constant).
// Standard errors after Bartlett 1946 for an AR(1) series.
TEST(GaussMarkov, HasTheVarianceAndAutocorrelationOfTheory) {
  SCOPED_TRACE(kSeed);
  constexpr std::size_t kValues = 2'000'000;
  const std::vector<double> x = path(minutes(1), kValues, kSeed);
  const double n = static_cast<double>(kValues);
  const double phi = std::exp(-1.0 / 60.0);
  const double independent = n * (1 - phi * phi) / (1 + phi * phi);  // for second moments
  for (const std::size_t lag : {0U, 1U, 30U, 60U, 120U, 600U}) {
    double product = 0;
    for (std::size_t i = lag; i < kValues; ++i) product += x[i] * x[i - lag];
    const double expected = std::exp(-static_cast<double>(lag) / 60.0);
    EXPECT_NEAR(product / (n - static_cast<double>(lag)) / (kSdDb * kSdDb), expected,
                5 * std::sqrt(2.0 / independent))
        << "lag of " << lag << " min";
  }
}

TEST(GaussMarkov, FirstValueIsAlreadyStationary) {
  double squares = 0;
  constexpr int kWorlds = 20'000;
  for (int seed = 0; seed < kWorlds; ++seed) {
    const double value = GaussMarkov(kSdDb, minutes(60), kStart, Random(seed)).at(kStart);
    squares += value * value;
  }
  EXPECT_NEAR(squares / kWorlds / (kSdDb * kSdDb), 1.0, 5 * std::sqrt(2.0 / kWorlds));
}

TEST(GaussMarkov, DoesNotDependOnHowOftenItIsAsked) {
  const std::vector<double> often = path(seconds(5), 12 * 600 + 1, kSeed);
  const std::vector<double> seldom = path(minutes(60), 11, kSeed);
  for (std::size_t hour = 0; hour < seldom.size(); ++hour) {
    EXPECT_EQ(seldom[hour], often[hour * 720]);
  }
}

TEST(GaussMarkov, IsLinearBetweenGridPoints) {
  const std::vector<double> x = path(seconds(30), 201, kSeed);
  for (std::size_t i = 1; i < 200; i += 2) EXPECT_NEAR(x[i], (x[i - 1] + x[i + 1]) / 2, 1e-12);
}

}  // namespace
}  // namespace fadeward::simulate::gauss_markov_test
