#include "fadeward/estimate/rician_k.hpp"

#include <cmath>

namespace fadeward::estimate {

std::optional<double> rician_k(double mean_power, double power_variance) {
  if (!(mean_power > 0) || !(power_variance >= 0)) return {};
  if (!std::isfinite(mean_power) || !std::isfinite(power_variance)) return {};
  const double ratio = power_variance / mean_power / mean_power;
  if (ratio >= 1) return 0.0;
  const double root = std::sqrt(1 - ratio);
  // (1 - root) loses its digits for a small ratio; the product with (1 + root) is the ratio itself.
  return root * (1 + root) / ratio;
}

std::optional<double> rician_k(std::span<const double> power) {
  if (power.size() < 2) return {};
  double mean = 0, squares = 0, count = 0;
  for (const double value : power) {
    count += 1;
    const double step = value - mean;
    mean += step / count;
    squares += step * (value - mean);
  }
  return rician_k(mean, squares / (count - 1));
}

}  // namespace fadeward::estimate
