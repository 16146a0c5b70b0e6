#include "fadeward/estimate/censored_normal.hpp"

#include <cmath>
#include <numbers>

namespace fadeward::estimate {

namespace {

/// phi(x) / Phi(x), stable far to the left where both vanish.
double inverse_mills_ratio(double x) {
  if (x < -25) return -x - 1 / x;
  const double density = std::exp(-0.5 * x * x) / std::sqrt(2 * std::numbers::pi);
  return density / (0.5 * std::erfc(-x / std::numbers::sqrt2));
}

double gamma_of(double omega, double limit_z) {
  const double distance = omega - limit_z;
  return (1 - omega * distance) / (distance * distance);
}

}  // namespace

std::optional<double> cohen_lambda(double censored_share, double gamma) {
  if (!(censored_share >= 0 && censored_share < 1) || !(gamma >= 0) || !std::isfinite(gamma)) return {};
  if (censored_share == 0) return 0.0;
  const double odds = censored_share / (1 - censored_share);
  // gamma falls as the limit moves left (everything seen) and grows without bound to the right.
  double low = -60, high = 60;
  for (int i = 0; i < 200; ++i) {
    const double z = (low + high) / 2;
    const double omega = odds * inverse_mills_ratio(z);
    if (omega <= z || gamma_of(omega, z) > gamma)
      high = z;
    else
      low = z;
  }
  const double z = (low + high) / 2;
  const double omega = odds * inverse_mills_ratio(z);
  return omega / (omega - z);
}

std::optional<NormalFit> fit_left_censored(double seen_mean, double seen_variance,
                                           double censored_share, double limit) {
  const double above = seen_mean - limit;
  if (!(above > 0)) return {};
  const auto lambda = cohen_lambda(censored_share, seen_variance / (above * above));
  if (!lambda) return {};
  return NormalFit{seen_mean - *lambda * above, std::sqrt(seen_variance + *lambda * above * above)};
}

}  // namespace fadeward::estimate
