#include "fadeward/app/clock.hpp"

#include <algorithm>
#include <chrono>
#include <fstream>

namespace fadeward::app {

namespace {

Duration steady_now() {
  return std::chrono::duration_cast<Duration>(std::chrono::steady_clock::now().time_since_epoch());
}

}  // namespace

Clock::Clock(double factor, Time start) : factor_(factor), start_(start), origin_(steady_now()) {}

Instant Clock::now() const {
  const Duration steady = steady_now();
  if (factor_ == 1)
    return {std::chrono::time_point_cast<Duration>(std::chrono::system_clock::now()), steady};
  const Duration passed{
      static_cast<Duration::rep>(static_cast<double>((steady - origin_).count()) * factor_)};
  return {start_ + passed, passed};
}

std::string Clock::boot() const {
  std::string name;
  if (factor_ == 1) std::ifstream("/proc/sys/kernel/random/boot_id") >> name;
  return name;
}

Duration Clock::real(Duration span) const {
  const auto scaled = static_cast<Duration::rep>(static_cast<double>(span.count()) / factor_);
  return std::max(Duration{scaled}, Duration{10000});
}

}  // namespace fadeward::app
