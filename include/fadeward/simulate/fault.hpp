// What goes wrong on an invented link, and what each fault does to levels, noise and loss.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::simulate {

inline constexpr int kMaxChannels = 128;

/// One fault with its cause. `size` is positive for a fault: decibels lost (levels) or risen
/// (noise); for collisions the share of frames, 0..1.
struct Fault {
  Cause cause = Cause::none;
  Shape shape = Shape::step;
  Time from{};
  std::optional<Time> until;  ///< first moment without it; empty: to the end
  double size = 0;
  Duration ramp{};                           ///< drift and cycle: time until the full size
  double per_rain_db = 0;                    ///< more of it in the wet: dB for each dB of rain
  std::vector<std::uint16_t> channels;       ///< near_channels, far_channels: the jammed ones
  Direction direction = Direction::inbound;  ///< collisions: whose frames are hit
};

/// Sum of all faults at one moment on one hop channel.
struct Effects {
  double path_db = 0;          ///< loss of both directions
  double near_antenna_db = 0;  ///< loss of both directions and of the outside noise at that end
  double far_antenna_db = 0;
  double near_transmit_db = 0;  ///< loss outbound
  double far_transmit_db = 0;   ///< loss inbound
  double near_receive_db = 0;   ///< lost by signal and noise at that end alike
  double far_receive_db = 0;
  double near_noise_db = 0;  ///< rise of the noise at that end on this channel
  double far_noise_db = 0;
  double collision_in = 0;  ///< share of inbound frames destroyed whatever their level
  double collision_out = 0;
};

/// Adds what `fault` does at `time` on `channel` while the valley's rain takes `rain_db`.
void add_effects(const Fault& fault, Time time, int channel, Effects& sum, double rain_db = 0);

/// The direction whose signal, noise or loss the fault changes; empty: both, or neither.
std::optional<Direction> direction_of(const Fault& fault);

/// Exchanges stop for a while: a radio restarts, or a site is off the air. Neither end sends.
struct Outage {
  Cause cause = Cause::restart;  ///< restart or silent
  Time from{};
  Time until{};                ///< exchanges go on from here
  bool near_restarts = false;  ///< counters of the gateway's radio begin again at `until`
  bool far_restarts = false;   ///< counters, uptime and frame number of the site begin again
};

}  // namespace fadeward::simulate
