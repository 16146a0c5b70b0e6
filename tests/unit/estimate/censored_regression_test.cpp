#include "fadeward/estimate/censored_regression.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "fadeward/estimate/censored_normal.hpp"
#include "support/standard_csv.hpp"

namespace fadeward::estimate::censored_regression_test {
namespace {

using test::read_csv;

// US EPA, Unified Guidance (EPA 530/R-09-007, 2009), example 15-1: manganese, logarithms, limits 2
// and 5 ppb; maximum likelihood as in the help of the public statistics package EnvStats 3.1.
TEST(CensoredRegression, EpaExample15_1) {
  std::vector<Observation> observed;
  for (auto& row : read_csv("standards/epa2009_ex15_1_manganese_left_censored.csv"))
    observed.push_back({std::log(row.at("Manganese.ppb")), row.at("Censored") != 0});
  ASSERT_EQ(observed.size(), 25u);
  const auto fit = fit_censored(std::vector<double>(25, 1.0), 1, observed);
  ASSERT_TRUE(fit);
  EXPECT_NEAR(fit->coefficients[0], 2.215905, 5e-7);
  EXPECT_NEAR(fit->deviation, 1.356291, 5e-7);
}

// Tobin (Econometrica 26, 1958), purchases of durable goods; digits from survival 3.5-3 in R 4.2.2
// (its convergence limit leaves five digits), and those printed with its example.
TEST(CensoredRegression, Tobin1958) {
  std::vector<Observation> observed;
  std::vector<double> design;
  for (auto& row : read_csv("standards/tobin1958_left_censored.csv")) {
    observed.push_back({row.at("durable"), row.at("durable") == 0});
    design.insert(design.end(), {1.0, row.at("age"), row.at("quant")});
  }
  const auto fit = fit_censored(design, 3, observed);
  ASSERT_TRUE(fit);
  EXPECT_NEAR(fit->coefficients[0], 15.144866, 5e-6);
  EXPECT_NEAR(fit->coefficients[1], -0.12905928, 5e-8);
  EXPECT_NEAR(fit->coefficients[2], -0.04554166, 1e-8);
  EXPECT_NEAR(fit->deviation, 5.572540, 5e-6);
  EXPECT_NEAR(fit->log_likelihood, -28.940133, 5e-7);
  EXPECT_NEAR(fit->standard_errors[0], 16.0795, 5e-4);
  EXPECT_NEAR(fit->standard_errors[1], 0.2186, 5e-5);
  EXPECT_NEAR(fit->standard_errors[2], 0.0583, 5e-5);
  EXPECT_NEAR(fit->log_deviation_error, 0.3103, 1e-4);

  const auto mean_only = fit_censored(std::vector<double>(20, 1.0), 1, observed);
  ASSERT_TRUE(mean_only);
  EXPECT_NEAR(mean_only->log_likelihood, -29.492199548, 5e-8);
}

// Two ways to the same summit: Cohen's equations for one limit, and Newton steps.
TEST(CensoredRegression, OneLimitAgreesWithCohen) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> level(2, 3);
    std::vector<Observation> observed;
    double sum = 0, squares = 0, seen = 0;
    for (int i = 0; i < 500; ++i) {
      const double x = level(random);
      observed.push_back({std::max(x, 0.5), x < 0.5});
      if (x < 0.5) continue;
      seen += 1;
      sum += x;
      squares += x * x;
    }
    const double mean = sum / seen;
    const auto cohen = fit_left_censored(mean, squares / seen - mean * mean, 1 - seen / 500, 0.5);
    const auto fit = fit_censored(std::vector<double>(500, 1.0), 1, observed);
    ASSERT_TRUE(cohen && fit) << "seed " << seed;
    EXPECT_NEAR(fit->coefficients[0], cohen->mean, 1e-7) << "seed " << seed;
    EXPECT_NEAR(fit->deviation, cohen->deviation, 1e-7) << "seed " << seed;
  }
}

TEST(CensoredRegression, RefusesWhatHasNoAnswer) {
  const std::vector<Observation> two = {{1, false}, {2, false}};
  EXPECT_FALSE(fit_censored(std::vector<double>{1, 1}, 2, two));
  EXPECT_FALSE(fit_censored(std::vector<double>{1, 1, 1}, 1, two));
  EXPECT_FALSE(
      fit_censored(std::vector<double>{1, 1}, 1, std::vector<Observation>{{1, true}, {2, true}}));
  EXPECT_FALSE(
      fit_censored(std::vector<double>{1, 1}, 1, std::vector<Observation>{{3, false}, {3, false}}));
  EXPECT_FALSE(fit_censored(std::vector<double>{1, 1}, 1,
                            std::vector<Observation>{{1, false}, {NAN, false}}));
}

}  // namespace
}  // namespace fadeward::estimate::censored_regression_test
