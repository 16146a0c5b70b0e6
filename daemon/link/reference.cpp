#include "fadeward/link/reference.hpp"

#include <algorithm>

namespace fadeward::link {

namespace {
constexpr std::uint32_t kQuartersPerDay = 96;
constexpr std::uint32_t kFewest = 4;
constexpr double kMostPull = 0.5;
}  // namespace

void Reference::add_quarter(double median_db) {
  if (quarters_ < UINT32_MAX) ++quarters_;
  const double difference = median_db - level_;
  if (quarters_ == 1) {
    level_ = median_db;
  } else if (quarters_ <= kFewest) {
    level_ += difference / quarters_;
  } else {
    // While young: a gain of 1/n, but never more than two clipped steps at once.
    const double gain = 1.0 / std::min(quarters_, kQuartersPerDay);
    level_ += gain * std::clamp(difference, -kMostPull, kMostPull);
  }
}

std::optional<double> Reference::level_db() const {
  if (quarters_ < kFewest) return {};
  return level_;
}

}  // namespace fadeward::link
