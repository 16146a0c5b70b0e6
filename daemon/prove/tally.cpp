#include "fadeward/prove/tally.hpp"

#include <algorithm>

namespace fadeward::prove {

std::optional<Latency> latency_of(std::vector<double>& seconds) {
  if (seconds.empty()) return {};
  std::ranges::sort(seconds);
  const auto rank = [&](std::size_t percent) {   // in whole numbers: 0.9 * 10 is not quite 9
    return seconds[(percent * seconds.size() + 99) / 100 - 1];
  };
  return Latency{seconds.size(), seconds.front(), rank(50), rank(90), rank(99), seconds.back()};
}

}  // namespace fadeward::prove
