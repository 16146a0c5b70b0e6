// The ratio of steady to scattered power of a fading signal, from two moments.
#pragma once

#include <optional>
#include <span>

namespace fadeward::estimate {

/// Rician K (linear, 0 = Rayleigh) from mean and variance of the received power (linear, not dB):
/// with G = variance / mean^2, K = sqrt(1 - G) / (1 - sqrt(1 - G)) (Greenstein, Michelson, Erceg,
/// IEEE Communications Letters 3, 1999). G >= 1 gives 0, G = 0 infinity (no fading at all). Slow
/// changes of the level count as scatter: take them out first. Empty where the mean is not above
/// zero, the variance is negative or one is not finite.
std::optional<double> rician_k(double mean_power, double power_variance);

/// The same from samples of power. Empty for fewer than two.
std::optional<double> rician_k(std::span<const double> power);

}  // namespace fadeward::estimate
