// The fixed vocabulary of judgement, as printed in events, metrics and pages.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>

namespace fadeward {

/// inbound: sent by the far end, heard at the gateway. outbound: the other way.
enum class Direction : std::uint8_t { inbound, outbound };
inline constexpr std::size_t kDirections = 2;

enum class Severity : std::uint8_t { none, info, warning, critical };

enum class Cause : std::uint8_t {
  none, path, near_antenna, far_antenna, far_transmit, near_transmit, near_receive, far_receive,
  near_noise, far_noise, near_channels, far_channels, collisions, port, restart, silent,
};
inline constexpr std::size_t kCauses = 16;

enum class Shape : std::uint8_t { none, step, drift, cycle, burst };

enum class AlertName : std::uint8_t {
  MarginLow, MarginForecastLow, BudgetDeficit, FadingSuspected, InterferenceSuspected,
  EquipmentSuspected, LossHigh, RetriesHigh, LatencyHigh, LinkSilent, HopUneven, DwellExceeded,
  DutyExceeded, ForeignFrames, RadioRestarted, SettingChanged, PortFault,
};
inline constexpr std::size_t kAlertNames = 17;

enum class NoiseSource : std::uint8_t { none, idle, snr, assumed };
enum class LossSource : std::uint8_t { none, seq, counters, retries };

/// Contract spelling ("near-antenna", "MarginLow", "inbound"); `none` values give "none".
std::string_view name_of(Direction value);
std::string_view name_of(Severity value);
std::string_view name_of(Cause value);
std::string_view name_of(Shape value);
std::string_view name_of(AlertName value);
std::string_view name_of(NoiseSource value);
std::string_view name_of(LossSource value);

}  // namespace fadeward
