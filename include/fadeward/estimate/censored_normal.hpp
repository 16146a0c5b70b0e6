// Mean and spread of a normal sample of which the lowest part was never seen.
#pragma once

#include <optional>

namespace fadeward::estimate {

struct NormalFit {
  double mean = 0;
  double deviation = 0;
};

/// Cohen's lambda: with h the share censored and gamma = s^2 / (mean - limit)^2 of the values seen,
/// mean = seen_mean - lambda (seen_mean - limit), deviation^2 = s^2 + lambda (seen_mean - limit)^2
/// (A. C. Cohen, Technometrics 3, 1961). Empty outside 0 <= h < 1, gamma >= 0.
std::optional<double> cohen_lambda(double censored_share, double gamma);

/// Maximum likelihood for a sample whose values below `limit` are only counted. `seen_variance`
/// divides by the number seen. Empty where the seen mean is not above the limit.
std::optional<NormalFit> fit_left_censored(double seen_mean, double seen_variance,
                                           double censored_share, double limit);

}  // namespace fadeward::estimate
