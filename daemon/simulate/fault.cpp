#include "fadeward/simulate/fault.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace fadeward::simulate {
namespace {

double grown(const Fault& fault, Time time) {
  const double ramp = static_cast<double>(fault.ramp.count());
  if (ramp <= 0) return 1.0;
  return std::min(1.0, static_cast<double>((time - fault.from).count()) / ramp);
}

/// Share of the full size at `time`, which lies within the fault.
double strength(const Fault& fault, Time time) {
  switch (fault.shape) {
    case Shape::drift: return grown(fault, time);
    case Shape::cycle: {
      const double days = duration_to_seconds(time - fault.from) / 86400.0;
      return grown(fault, time) * std::sin(2.0 * std::numbers::pi * days);
    }
    default: return 1.0;
  }
}

bool hits(const Fault& fault, int channel) {
  return std::find(fault.channels.begin(), fault.channels.end(), channel) != fault.channels.end();
}

}  // namespace

void add_effects(const Fault& fault, Time time, int channel, Effects& sum, double rain_db) {
  if (time < fault.from || (fault.until && time >= *fault.until)) return;
  const double size = (fault.size + fault.per_rain_db * rain_db) * strength(fault, time);
  switch (fault.cause) {
    case Cause::path: sum.path_db += size; break;
    case Cause::near_antenna: sum.near_antenna_db += size; break;
    case Cause::far_antenna: sum.far_antenna_db += size; break;
    case Cause::near_transmit: sum.near_transmit_db += size; break;
    case Cause::far_transmit: sum.far_transmit_db += size; break;
    case Cause::near_receive: sum.near_receive_db += size; break;
    case Cause::far_receive: sum.far_receive_db += size; break;
    case Cause::near_noise: sum.near_noise_db += size; break;
    case Cause::far_noise: sum.far_noise_db += size; break;
    case Cause::near_channels: sum.near_noise_db += hits(fault, channel) ? size : 0.0; break;
    case Cause::far_channels: sum.far_noise_db += hits(fault, channel) ? size : 0.0; break;
    case Cause::collisions:
      (fault.direction == Direction::inbound ? sum.collision_in : sum.collision_out) += size;
      break;
    case Cause::none:
    case Cause::port:
    case Cause::restart:
    case Cause::silent: break;
  }
}

std::optional<Direction> direction_of(const Fault& fault) {
  switch (fault.cause) {
    case Cause::far_transmit:
    case Cause::near_receive:
    case Cause::near_noise:
    case Cause::near_channels: return Direction::inbound;
    case Cause::near_transmit:
    case Cause::far_receive:
    case Cause::far_noise:
    case Cause::far_channels: return Direction::outbound;
    case Cause::collisions: return fault.direction;
    default: return std::nullopt;
  }
}

}  // namespace fadeward::simulate
