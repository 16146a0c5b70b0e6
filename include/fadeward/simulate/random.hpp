// The generator behind every invented world: the same seed gives the same world everywhere.
//
// The distributions of the standard library are not used, since each library draws them its own
// way.
#pragma once

#include <array>
#include <cstdint>

namespace fadeward::simulate {

/// splitmix64 (Steele, Lea and Flood 2014): turns any seed into well mixed words.
class SplitMix64 {
 public:
  explicit SplitMix64(std::uint64_t seed) : state_(seed) {}
  std::uint64_t next() {
    std::uint64_t z = state_ += 0x9e3779b97f4a7c15U;
    z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31U);
  }

 private:
  std::uint64_t state_;
};

/// xoshiro256++ 1.0 (Blackman and Vigna 2019) with the few distributions that a world needs.
class Random {
 public:
  /// Streams of one seed are independent of each other: what one purpose draws leaves all others
  /// as they were.
  explicit Random(std::uint64_t seed, std::uint64_t stream = 0);
  explicit Random(const std::array<std::uint64_t, 4>& state) : s_(state) {}

  std::uint64_t next() {
    const std::uint64_t result = rotate(s_[0] + s_[3], 23) + s_[0];
    const std::uint64_t t = s_[1] << 17U;
    s_[2] ^= s_[0];
    s_[3] ^= s_[1];
    s_[1] ^= s_[2];
    s_[0] ^= s_[3];
    s_[2] ^= t;
    s_[3] = rotate(s_[3], 45);
    return result;
  }

  /// In [0, 1), 53 bits.
  double uniform() { return static_cast<double>(next() >> 11U) * 0x1.0p-53; }
  double uniform(double low, double high) { return low + (high - low) * uniform(); }

  /// 0..n-1; n > 0. The bias of at most n / 2^32 does not matter here.
  std::uint32_t below(std::uint32_t n) {
    return static_cast<std::uint32_t>(((next() >> 32U) * n) >> 32U);
  }

  /// Mean 0, standard deviation 1 (polar method of Marsaglia and Bray 1964).
  double normal();

  /// Waiting time with this mean.
  double exponential(double mean);

 private:
  static std::uint64_t rotate(std::uint64_t x, unsigned by) {
    return (x << by) | (x >> (64U - by));
  }

  std::array<std::uint64_t, 4> s_{};
  double spare_ = 0;
  bool has_spare_ = false;
};

}  // namespace fadeward::simulate
