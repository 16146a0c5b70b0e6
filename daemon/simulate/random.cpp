#include "fadeward/simulate/random.hpp"

#include <cmath>

namespace fadeward::simulate {

Random::Random(std::uint64_t seed, std::uint64_t stream) {
  SplitMix64 purpose(stream);
  SplitMix64 mixed(seed ^ purpose.next());
  for (std::uint64_t& word : s_) word = mixed.next();
}

double Random::normal() {
  if (has_spare_) {
    has_spare_ = false;
    return spare_;
  }
  for (;;) {
    const double u = 2.0 * uniform() - 1.0;
    const double v = 2.0 * uniform() - 1.0;
    const double square = u * u + v * v;
    if (square >= 1.0 || square == 0.0) continue;
    const double scale = std::sqrt(-2.0 * std::log(square) / square);
    spare_ = v * scale;
    has_spare_ = true;
    return u * scale;
  }
}

double Random::exponential(double mean) { return -mean * std::log(1.0 - uniform()); }

}  // namespace fadeward::simulate
