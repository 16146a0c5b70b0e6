#include "fadeward/estimate/change_point.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <limits>
#include <numbers>

namespace fadeward::estimate {

namespace {

/// The normal deviate of the same tail probability as t.
double normal_of(double t, double freedom) {
  const double tail = boost::math::cdf(boost::math::students_t(freedom), -t);
  if (!(tail > std::numeric_limits<double>::min())) return 38;
  return -boost::math::quantile(boost::math::normal{}, std::min(tail, 0.5));
}

double tail_of_largest(double deviate, double trim) {
  if (deviate < 1) return 1;  // the approximation is for tails
  const double density = std::exp(-0.5 * deviate * deviate) / std::sqrt(2 * std::numbers::pi);
  const double places = 2 * std::log((1 - trim) / trim);
  return std::min(1.0, density * ((deviate - 1 / deviate) * places + 4 / deviate));
}

}  // namespace

std::optional<ChangePoint> find_change_point(std::span<const double> values, double trim) {
  const std::size_t n = values.size();
  if (n < 6 || !(trim > 0 && trim < 0.5)) return {};
  double mean = 0, count = 0;
  for (const double value : values) {
    if (!std::isfinite(value)) return {};
    mean += (value - mean) / ++count;
  }
  ChangePoint out;
  for (const double value : values) out.residual_sum_one += (value - mean) * (value - mean);

  const auto least = std::max<std::size_t>(2, static_cast<std::size_t>(trim * count));
  double sum = 0, best = -1;
  for (std::size_t i = 0; i + least < n; ++i) {
    sum += values[i] - mean;
    if (i + 1 < least) continue;
    const double before = static_cast<double>(i + 1), after = count - before;
    const double explained = sum * sum * count / (before * after);
    if (explained <= best) continue;
    best = explained;
    out.last_before = i;
    out.mean_before = mean + sum / before;
    out.mean_after = mean - sum / after;
  }
  out.residual_sum_two = std::max(0.0, out.residual_sum_one - best);
  if (!(out.residual_sum_one > 0)) return out;
  if (out.residual_sum_two < 1e-14 * out.residual_sum_one) {  // a shift and nothing else
    out.statistic = std::numeric_limits<double>::infinity();
    out.p = 0;
    return out;
  }
  out.statistic = best * (count - 2) / out.residual_sum_two;
  out.p = tail_of_largest(normal_of(std::sqrt(out.statistic), count - 2),
                          static_cast<double>(least) / count);
  return out;
}

}  // namespace fadeward::estimate
