// Numbers of the exposition formats, written straight into a buffer.
#pragma once

#include <charconv>
#include <cmath>
#include <cstdint>
#include <cstring>

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
/// below 1e15. `value` is finite. Returns the end; `at` must have kNumberRoom characters.
///
/// Levels come in quarters of a decibel more often than not, and those need no search for the
/// shortest form.
inline char* write_number(char* at, double value) {
  if (!(std::abs(value) < 1e15)) return std::to_chars(at, at + kNumberRoom, value).ptr;
  const auto quarters = static_cast<std::int64_t>(value * 4);
  if (static_cast<double>(quarters) != value * 4)
    return std::to_chars(at, at + kNumberRoom, value).ptr;
  if (quarters < 0) *at++ = '-';
  const auto size = static_cast<std::uint64_t>(quarters < 0 ? -quarters : quarters);
  at = write_number(at, size / 4);
  static constexpr struct {
    char text[4];
    int size;
  } kRest[4] = {{"", 0}, {".25", 3}, {".5", 2}, {".75", 3}};
  const auto& rest = kRest[size % 4];
  std::memcpy(at, rest.text, sizeof rest.text);
  return at + rest.size;
}

}  // namespace fadeward::publish
