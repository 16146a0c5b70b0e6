// Whether counts that should be alike are.
#pragma once

#include <cstdint>
#include <span>

namespace fadeward::estimate {

struct Evenness {
  double statistic = 0;  ///< sum of (count - mean)^2 / mean
  int freedom = 0;       ///< counts less one
  double p = 1;          ///< of as much or more unevenness by chance
};

/// Pearson's chi-square test against equal shares. Fewer than two counts or none at all: p is 1.
/// Trustworthy from a mean of five on (common practice).
Evenness evenness_of(std::span<const std::uint32_t> counts);

}  // namespace fadeward::estimate
