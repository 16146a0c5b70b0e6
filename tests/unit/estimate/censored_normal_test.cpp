#include "fadeward/estimate/censored_normal.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "support/standard_csv.hpp"

namespace fadeward::estimate::censored_normal_test {
namespace {

// Cohen (1961), table of lambda(h, gamma), first row (gamma = 0), as printed in the table to four
// or five digits; cells recomputed from the likelihood equations elsewhere.
TEST(CohenLambda, FirstRowOfTheTable) {
  const struct { double h, lambda; } row[] = {{0.02, 0.02040}, {0.05, 0.05251}, {0.10, 0.11020},
                                              {0.15, 0.17342}, {0.20, 0.24268}, {0.25, 0.31862},
                                              {0.30, 0.40210}, {0.40, 0.59607}, {0.50, 0.83684},
                                              {0.60, 1.14536}, {0.70, 1.56148}, {0.80, 2.17591},
                                              {0.90, 3.28261}};
  for (const auto& cell : row)
    EXPECT_NEAR(*cohen_lambda(cell.h, 0), cell.lambda, 0.0001) << "h = " << cell.h;
}

// The whole table (gamma 0 to 1, 24 shares censored) from an independent solution of the likelihood
// equations, printed to five decimals.
TEST(CohenLambda, WholeTable) {
  int checked = 0;
  for (auto& row : test::read_csv("standards/cohen_lambda_computed.csv"))
    for (const auto& [name, lambda] : row) {
      if (!name.starts_with("h=")) continue;
      const auto found = cohen_lambda(std::stod(name.substr(2)), row.at("gamma"));
      ASSERT_TRUE(found) << name << " gamma " << row.at("gamma");
      EXPECT_NEAR(*found, lambda, 6e-6) << name << " gamma " << row.at("gamma");
      ++checked;
    }
  EXPECT_EQ(checked, 21 * 24 - 1);   // one cell is blank
}

// Sulfate example of the US EPA guidance (24 values, 3 below 1450; from memory): h 0.125,
// mean of the seen 1771.905, s^2 8593.690 with n - 1.
TEST(CohenLambda, SulfateExample) {
  const auto fit = fit_left_censored(1771.905, 8593.690, 0.125, 1450);
  ASSERT_TRUE(fit);
  EXPECT_NEAR(fit->mean, 1723.880, 0.01);
  EXPECT_NEAR(fit->deviation, 155.091, 0.01);
}

TEST(FitLeftCensored, FindsTheTruthOfASample) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> level(1.0, 2.5);
    double sum = 0, square = 0;
    int seen = 0;
    constexpr int kAll = 20000;
    for (int i = 0; i < kAll; ++i) {
      const double x = level(random);
      if (x < 0) continue;
      ++seen;
      sum += x;
      square += x * x;
    }
    const double mean = sum / seen;
    const auto fit = fit_left_censored(mean, square / seen - mean * mean, 1 - double(seen) / kAll, 0);
    ASSERT_TRUE(fit) << "seed " << seed;
    EXPECT_NEAR(fit->mean, 1.0, 0.12) << "seed " << seed;
    EXPECT_NEAR(fit->deviation, 2.5, 0.12) << "seed " << seed;
  }
}

TEST(FitLeftCensored, RefusesNonsense) {
  EXPECT_FALSE(cohen_lambda(1.0, 0.1));
  EXPECT_FALSE(cohen_lambda(-0.1, 0.1));
  EXPECT_FALSE(cohen_lambda(0.5, std::nan("")));
  EXPECT_FALSE(fit_left_censored(1, 1, 0.5, 2));
  EXPECT_DOUBLE_EQ(*cohen_lambda(0, 0.3), 0);
}

}  // namespace
}  // namespace fadeward::estimate::censored_normal_test
