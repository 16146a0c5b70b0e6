// The signs by which causes are told apart: a vector of changes in, the likeliest cause out.
#pragma once

#include <array>
#include <cstddef>
#include <optional>

#include "fadeward/base/terms.hpp"

namespace fadeward::judge {

/// What is looked at. Mean and difference of the two signals instead of the signals themselves:
/// weather and shadowing move the mean alone, so that the difference is far quieter.
enum class Stream : std::uint8_t {
  common,      ///< (inbound signal + outbound signal) / 2; with one direction known, that one
  difference,  ///< inbound signal - outbound signal
  near_noise,  ///< noise at the gateway
  far_noise,
};
inline constexpr std::size_t kStreams = 4;

/// Changes in dB and their standard deviations when nothing happens; unknown streams are left out.
struct Changes {
  std::array<double, kStreams> by_db{};
  std::array<double, kStreams> sigma_db{};
  std::array<bool, kStreams> known{};
  /// Inbound is known and outbound not, or the other way; decides how `common` is read.
  bool one_way = false;
  Direction way = Direction::inbound;

  double db(Stream s) const { return by_db[static_cast<std::size_t>(s)]; }
  double sigma(Stream s) const { return sigma_db[static_cast<std::size_t>(s)]; }
  bool has(Stream s) const { return known[static_cast<std::size_t>(s)]; }
};

/// One explanation of changes. `gain`: log-likelihood over "nothing happened".
struct Explanation {
  Cause cause = Cause::none;
  double size_db = 0;   ///< positive: what was lost, or what the noise rose by
  double noise_db = 0;  ///< fall of the noise with it (antennas, receivers); 0 otherwise
  double gain = 0;
  double misfit = 0;  ///< squared deviations left over, in units of the variances
  double lead = 0;    ///< gain over the best other explanation
};

/// The likeliest cause of a change for the worse; empty if another change (an improvement, or none)
/// explains it better. Each cause of the contract's table is a direction in the space of streams
/// and its size is fitted; an antenna has the fall of its noise as a second unknown.
std::optional<Explanation> explain(const Changes& changes);

/// What is left unexplained is no more than chance and a share of what is explained.
bool fits(const Explanation& explanation);

/// The stream that sets a cause apart from the wandering of the path speaks clearly by itself.
bool own_proof(Cause cause, const Changes& changes);

constexpr bool of_path(Cause cause) { return cause == Cause::path; }
constexpr bool of_noise(Cause cause) {
  return cause == Cause::near_noise || cause == Cause::far_noise;
}
constexpr bool of_antenna(Cause cause) {
  return cause == Cause::near_antenna || cause == Cause::far_antenna;
}

/// How much of a cause is in the changes: its size fitted alone, in dB (may be negative); 0 where
/// nothing that it moves is known.
double size_of(Cause cause, const Changes& changes);

/// What a cause of this size does to the streams, in dB.
std::array<double, kStreams> effect_of(const Explanation& explanation, const Changes& like);

}  // namespace fadeward::judge
