#include "fadeward/estimate/binomial.hpp"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>

namespace fadeward::estimate {

namespace {

using Binomial = boost::math::binomial_distribution<double>;
constexpr std::uint64_t kMostTrials = 1'000'000'000;

double alpha_of(double confidence) { return 1 - std::clamp(confidence, 0.5, 0.999999); }

double upper(std::uint64_t count, std::uint64_t trials, double alpha) {
  if (count >= trials) return 1;
  return Binomial::find_upper_bound_on_p(static_cast<double>(trials), static_cast<double>(count),
                                         alpha);
}

double lower(std::uint64_t count, std::uint64_t trials, double alpha) {
  if (count == 0 || trials == 0) return 0;
  return Binomial::find_lower_bound_on_p(static_cast<double>(trials),
                                         static_cast<double>(std::min(count, trials)), alpha);
}

/// The first of from..to for which `holds`, which stays true from there on; `to` does hold.
template <class Holds>
std::uint64_t first_that_holds(std::uint64_t from, std::uint64_t to, Holds holds) {
  while (from < to) {
    const std::uint64_t middle = from + (to - from) / 2;
    if (holds(middle))
      to = middle;
    else
      from = middle + 1;
  }
  return to;
}

}  // namespace

ShareInterval share_interval(std::uint64_t count, std::uint64_t trials, double confidence) {
  const double alpha = alpha_of(confidence) / 2;
  return {lower(count, trials, alpha), upper(count, trials, alpha)};
}

double share_at_most(std::uint64_t count, std::uint64_t trials, double confidence) {
  return upper(count, trials, alpha_of(confidence));
}

double share_at_least(std::uint64_t count, std::uint64_t trials, double confidence) {
  return lower(count, trials, alpha_of(confidence));
}

std::optional<std::uint64_t> trials_to_show(std::uint64_t count, double limit, double confidence) {
  const auto shows = [&](std::uint64_t trials) {
    return share_at_most(count, trials, confidence) <= limit;
  };
  if (!(limit > 0) || count >= kMostTrials || !shows(kMostTrials)) return {};
  return first_that_holds(count + 1, kMostTrials, shows);
}

std::optional<std::uint64_t> count_that_shows(std::uint64_t trials, double limit,
                                              double confidence) {
  const auto too_many = [&](std::uint64_t count) {
    return share_at_most(count, trials, confidence) > limit;
  };
  if (too_many(0)) return {};
  if (limit >= 1) return trials;
  return first_that_holds(1, trials, too_many) - 1;
}

}  // namespace fadeward::estimate
