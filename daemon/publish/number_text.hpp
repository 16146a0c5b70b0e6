// Numbers of the exposition formats, written straight into a buffer.
#pragma once

#include <charconv>
#include <cmath>
#include <cstdint>

namespace fadeward::publish {

inline constexpr int kNumberRoom = 32;  ///< characters that any number below may need

/// Returns the end. `at` must have kNumberRoom characters.
inline char* write_number(char* at, std::uint64_t value) {
  if (value < 10) {
    *at = static_cast<char>('0' + value);
    return at + 1;
  }
  return std::to_chars(at, at + kNumberRoom, value).ptr;
}

/// Shortest form that reads back as the same double; whole numbers without a fraction or exponent
/// below 1e15. `value` is finite.
inline char* write_number(char* at, double value) {
  if (std::abs(value) < 1e15) {
    const auto whole = static_cast<std::int64_t>(value);
    if (static_cast<double>(whole) == value) {
      return std::to_chars(at, at + kNumberRoom, whole).ptr;
    }
  }
  return std::to_chars(at, at + kNumberRoom, value).ptr;
}

}  // namespace fadeward::publish
