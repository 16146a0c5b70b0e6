// Least squares for a handful of coefficients, with their standard errors.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace fadeward::estimate {

struct LinearFit {
  std::vector<double> coefficients;     ///< one per column, in the order of the columns
  std::vector<double> standard_errors;  ///< for independent errors of equal variance
  double residual_deviation = 0;        ///< sqrt(residual sum of squares / (rows - columns))
  double r_squared = 0;                 ///< about the mean if a column is constant, else about zero
};

/// Fits observed = design * coefficients by Householder QR of the columns brought to unit length.
/// `design` is row by row, `columns` values each. Empty where the shapes do not fit, rows do not
/// outnumber the columns, a value is not finite or the columns depend on each other.
std::optional<LinearFit> fit_linear(std::span<const double> design, std::size_t columns,
                                    std::span<const double> observed);

}  // namespace fadeward::estimate
