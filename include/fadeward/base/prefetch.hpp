// Asks for memory before it is needed.
#pragma once

#include <cstddef>

namespace fadeward {

/// A hint to fetch the cache lines of `bytes` (at least 1) bytes from `from` on; changes nothing.
/// Whoever wraps it has to be inlined as well: a compiler that sees a function without effect drops
/// the calls of it.
[[gnu::always_inline]] inline void prefetch_lines(const void* from, std::size_t bytes) {
  constexpr std::size_t kLine = 64;
  const auto* at = static_cast<const char*>(from);
#pragma GCC unroll 8
  for (std::size_t offset = 0; offset < bytes; offset += kLine) __builtin_prefetch(at + offset);
  __builtin_prefetch(at + bytes - 1);  // the last one, where `from` is in the middle of a line
}

}  // namespace fadeward
