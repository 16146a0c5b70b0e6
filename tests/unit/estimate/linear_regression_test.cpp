#include "fadeward/estimate/linear_regression.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "support/standard_csv.hpp"

namespace fadeward::estimate::linear_regression_test {
namespace {

using test::read_csv;
using test::read_text;
using test::split;

struct Certified {
  double value = 0;
  double standard_error = 0;
};

/// Quantity -> value of one data set of the NIST Statistical Reference Datasets.
std::map<std::string, Certified> certified(const std::string& dataset) {
  std::map<std::string, Certified> out;
  std::stringstream text(read_text("standards/nist_strd_linear_regression_reference.csv"));
  for (std::string line; std::getline(text, line);) {
    const auto cells = split(line);
    if (cells.size() < 3 || cells[0] != dataset) continue;
    out[cells[1]] = {std::stod(cells[2]),
                     cells.size() > 3 && !cells[3].empty() ? std::stod(cells[3]) : 0};
  }
  return out;
}

void expect_nine_digits(double found, double truth, const std::string& what) {
  EXPECT_NEAR(found, truth, std::abs(truth) * 1e-9) << what;
}

void check(const std::string& dataset, const std::string& file,
           const std::vector<std::string>& predictors, bool intercept) {
  std::vector<double> design, observed;
  for (auto& row : read_csv("standards/" + file)) {
    observed.push_back(row.at("y"));
    if (intercept) design.push_back(1);
    for (const auto& name : predictors) design.push_back(row.at(name));
  }
  const std::size_t columns = predictors.size() + (intercept ? 1 : 0);
  const auto fit = fit_linear(design, columns, observed);
  ASSERT_TRUE(fit) << dataset;
  auto truth = certified(dataset);
  ASSERT_EQ(truth.size(), columns + 2) << dataset;
  for (std::size_t j = 0; j < columns; ++j) {
    const std::string name = "b" + std::to_string(j);
    expect_nine_digits(fit->coefficients[j], truth.at(name).value, dataset + " " + name);
    expect_nine_digits(fit->standard_errors[j], truth.at(name).standard_error,
                       dataset + " se " + name);
  }
  expect_nine_digits(fit->residual_deviation, truth.at("residual_sd").value,
                     dataset + " residual sd");
  expect_nine_digits(fit->r_squared, truth.at("r_squared").value, dataset + " R^2");
}

// NIST Statistical Reference Datasets, linear regression; for Norris the certified values, for the
// others exact rational arithmetic that agrees with every certified digit at hand.
TEST(LinearRegression, NistNorris) { check("Norris", "nist_strd_norris_data.csv", {"x"}, true); }
TEST(LinearRegression, NistLongley) {
  check("Longley", "nist_strd_longley_data.csv", {"x1", "x2", "x3", "x4", "x5", "x6"}, true);
}
TEST(LinearRegression, NistNoIntercept1) {
  check("noint1", "nist_strd_noint1_data.csv", {"x"}, false);
}
TEST(LinearRegression, NistNoIntercept2) {
  check("noint2", "nist_strd_noint2_data.csv", {"x"}, false);
}

TEST(LinearRegression, RefusesWhatHasNoAnswer) {
  const std::vector<double> y = {1, 2, 3};
  EXPECT_FALSE(fit_linear(std::vector<double>{1, 2, 1, 2, 1, 2}, 2, y));     // dependent columns
  EXPECT_FALSE(fit_linear(std::vector<double>{1, 1, 1, 2, 1, 3, 1}, 2, y));  // shape
  EXPECT_FALSE(fit_linear(std::vector<double>{0, 0, 0}, 1, y));              // empty column
  EXPECT_FALSE(fit_linear({}, 0, y));
  EXPECT_FALSE(
      fit_linear(std::vector<double>{1, 2, std::numeric_limits<double>::quiet_NaN()}, 1, y));
  EXPECT_FALSE(fit_linear(std::vector<double>(9, 1.0), 3, y));  // as many columns as rows
}

}  // namespace
}  // namespace fadeward::estimate::linear_regression_test
