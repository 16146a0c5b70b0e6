// What counting tells about a share: exact limits, and how many trials it takes to be able to say.
//
// C. J. Clopper, E. S. Pearson, The use of confidence or fiducial limits illustrated in the case of
// the binomial, Biometrika 26 (1934).
#pragma once

#include <cstdint>
#include <optional>

namespace fadeward::estimate {

/// 0 <= low <= high <= 1. Without trials nothing is known: 0 to 1.
struct ShareInterval {
  double low = 0;
  double high = 1;
};

/// Two-sided: each limit is missed with a chance of at most (1 - confidence) / 2. `count` above
/// `trials` is taken as `trials`; confidence is kept within 0.5 to 0.999999.
ShareInterval share_interval(std::uint64_t count, std::uint64_t trials, double confidence);

/// One-sided limits: the share lies below (above) with this confidence.
double share_at_most(std::uint64_t count, std::uint64_t trials, double confidence);
double share_at_least(std::uint64_t count, std::uint64_t trials, double confidence);

/// The fewest trials in which `count` or less show that the share is at most `limit`. Empty where
/// no number of trials can (limit 0) or more than 10^9 are needed. With count 0 and 95 % about
/// 3 / limit, the rule of three.
std::optional<std::uint64_t> trials_to_show(std::uint64_t count, double limit, double confidence);

/// The most that may be counted in `trials` with the share still shown to be at most `limit`.
/// Empty: not even 0.
std::optional<std::uint64_t> count_that_shows(std::uint64_t trials, double limit,
                                              double confidence);

}  // namespace fadeward::estimate
