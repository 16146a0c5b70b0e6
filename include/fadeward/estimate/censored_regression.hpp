// Linear regression with normal errors of which the values below a limit are only counted.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace fadeward::estimate {

struct Observation {
  double value = 0;       ///< what was measured, or the limit below which it lay
  bool censored = false;  ///< true: below `value`, no more is known
};

struct CensoredFit {
  std::vector<double> coefficients;     ///< one per column
  std::vector<double> standard_errors;  ///< from the curvature of the likelihood
  double deviation = 0;
  double log_deviation_error = 0;  ///< standard error of ln(deviation)
  double log_likelihood = 0;
};

/// Maximum likelihood (Tobin, Econometrica 26, 1958), each observation with a limit of its own;
/// in the form of Olsen (Econometrica 46, 1978), where the likelihood has one summit, by Newton
/// steps. `design` is row by row. A single column of ones gives mean and deviation of a sample
/// censored at several limits. Empty where the shapes do not fit, too few are uncensored, columns
/// depend on each other or the steps do not settle.
std::optional<CensoredFit> fit_censored(std::span<const double> design, std::size_t columns,
                                        std::span<const Observation> observed);

}  // namespace fadeward::estimate
