#include "fadeward/estimate/chi_square.hpp"

#include <boost/math/special_functions/gamma.hpp>

namespace fadeward::estimate {

Evenness evenness_of(std::span<const std::uint32_t> counts) {
  Evenness out;
  double sum = 0;
  for (const std::uint32_t count : counts) sum += count;
  if (counts.size() < 2 || sum == 0) return out;
  const double mean = sum / static_cast<double>(counts.size());
  for (const std::uint32_t count : counts) out.statistic += (count - mean) * (count - mean) / mean;
  out.freedom = static_cast<int>(counts.size()) - 1;
  out.p = boost::math::gamma_q(out.freedom / 2.0, out.statistic / 2);
  return out;
}

}  // namespace fadeward::estimate
