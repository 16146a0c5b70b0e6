#include "fadeward/link/counter.hpp"

#include <array>
#include <cmath>

namespace fadeward::link {

namespace {

std::optional<double> over_wrap(double last, double value, int bits) {
  const double width = std::ldexp(1.0, bits);
  if (last >= width) return {};
  if (last < width * 15 / 16 || value > width / 16) return {};
  return value + width - last;
}

std::optional<double> grown_over_wrap(double last, double value, int bits) {
  if (bits != 0) return over_wrap(last, value, bits);
  for (const int candidate : {8, 16, 32}) {
    if (last >= std::ldexp(1.0, candidate)) continue;
    if (const auto grown = over_wrap(last, value, candidate)) return grown;
    return {};
  }
  return {};
}

}  // namespace

CounterStep CounterTracker::take(double value, int bits) {
  const double last = last_;
  const bool known = known_;
  last_ = value;
  known_ = true;
  if (!known) return {};
  if (value >= last) return {value - last, true, false};
  if (const auto grown = grown_over_wrap(last, value, bits)) return {*grown, true, false};
  return {0, false, true};
}

}  // namespace fadeward::link
