// What a fuzz target offers, and how it says that a promise is broken.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <span>
#include <string_view>

/// The target. Returns 0.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace fadeward::fuzz {

/// Inputs that mean something to the target: mutations begin here.
std::span<const std::string_view> seeds();

/// Stops the program: the input that is running breaks a promise.
inline void require(bool kept, const char* promise) {
  if (kept) return;
  std::fprintf(stderr, "broken: %s\n", promise);
  std::abort();
}

}  // namespace fadeward::fuzz
