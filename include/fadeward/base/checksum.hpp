// Tells a file that was cut off or damaged from a whole one; no protection against intent.
#pragma once

#include <cstdint>
#include <string_view>

namespace fadeward {

/// FNV-1a, 64 bits (G. Fowler, L. C. Noll, K.-P. Vo).
constexpr std::uint64_t checksum_of(std::string_view bytes) {
  std::uint64_t sum = 0xcbf29ce484222325U;
  for (const char byte : bytes) sum = (sum ^ static_cast<unsigned char>(byte)) * 0x100000001b3U;
  return sum;
}

}  // namespace fadeward
