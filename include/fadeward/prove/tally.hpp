// What was counted and measured in a proving run.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::prove {

/// Frames of one direction. outbound: probes, counted by the far end; inbound: echoes.
struct DirectionTally {
  std::uint64_t sent = 0;       ///< whose fate is known: delivered or lost
  std::uint64_t delivered = 0;  ///< each once
  std::uint64_t duplicated = 0;
  std::uint64_t reordered = 0;  ///< came after a frame that was sent later
  std::uint64_t corrupted = 0;  ///< came damaged; they are among the lost
  std::uint64_t lost() const { return sent - delivered; }
};

/// Probe to echo, as the near end sees it: two directions, both radios and the far computer.
struct RoundTrips {
  std::uint64_t sent = 0;      ///< whose fate is known
  std::uint64_t answered = 0;
  std::uint64_t lost() const { return sent - answered; }
};

/// Order statistics (nearest rank) of the round trips answered, seconds.
struct Latency {
  std::uint64_t count = 0;
  double min_s = 0, median_s = 0, p90_s = 0, p99_s = 0, max_s = 0;
};
/// Sorts `seconds`. Empty without any.
std::optional<Latency> latency_of(std::vector<double>& seconds);

struct Tally {
  std::uint64_t probes = 0;   ///< handed to the line
  std::uint64_t waiting = 0;  ///< probes whose fate is open: on their way, or no answer settled it
  std::uint64_t voided = 0;   ///< probes on their way when the port closed: unknown, not lost
  RoundTrips trips;
  /// Empty while the far end has told nothing.
  std::array<std::optional<DirectionTally>, kDirections> directions;
  bool settled = false;          ///< the far end's last counts came after the last probe
  std::uint64_t untold = 0;      ///< probes around a restart or a closed port: outbound unknown
  std::uint32_t far_restarts = 0;
  std::uint32_t interruptions = 0;  ///< times that the port closed
  std::uint64_t looped = 0;         ///< own frames that came back as they were sent
  std::uint64_t foreign = 0;        ///< good frames of another session, or that cannot be true
  std::uint64_t noise_octets = 0;   ///< heard at the near end between frames
  std::optional<Latency> latency;
  std::uint64_t later_than_limit = 0;  ///< round trips answered above the limit given
  double elapsed_s = 0;  ///< from the first probe to the last, with its turn

  const std::optional<DirectionTally>& direction(Direction which) const {
    return directions[static_cast<std::size_t>(which)];
  }
};

}  // namespace fadeward::prove
