// Where the mean of a series shifted, and how sure that is.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace fadeward::estimate {

struct ChangePoint {
  std::size_t last_before = 0;  ///< index of the last value of the old mean
  double mean_before = 0;
  double mean_after = 0;
  double residual_sum_one = 0;  ///< squares about one mean
  double residual_sum_two = 0;  ///< squares about the two means
  double statistic = 0;         ///< largest F of the two-sample comparison
  /// Of a statistic this large with one mean throughout and independent normal values.
  double p = 1;
};

/// Least squares over all places with at least `trim` of the values (and two) on each side, so the
/// largest two-sample statistic (Andrews, Econometrica 61, 1993). p by the tail approximation of
/// Miller and Siegmund (Biometrics 38, 1982) after turning t into a normal deviate. Empty for fewer
/// than six values or ones that are not finite. Linear in the number of values.
std::optional<ChangePoint> find_change_point(std::span<const double> values, double trim = 0.15);

}  // namespace fadeward::estimate
