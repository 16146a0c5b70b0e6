#include "fadeward/base/terms.hpp"

#include <array>

#include "fadeward/base/port_event.hpp"

namespace fadeward {

namespace {

template <std::size_t N, class E>
std::string_view pick(const std::array<std::string_view, N>& names, E value) {
  const auto index = static_cast<std::size_t>(value);
  return index < N ? names[index] : std::string_view{"none"};
}

}  // namespace

std::string_view name_of(Direction value) {
  static constexpr std::array<std::string_view, 2> names = {"inbound", "outbound"};
  return pick(names, value);
}
std::string_view name_of(Severity value) {
  static constexpr std::array<std::string_view, 4> names = {"none", "info", "warning", "critical"};
  return pick(names, value);
}
std::string_view name_of(Cause value) {
  static constexpr std::array<std::string_view, kCauses> names = {
      "none", "path", "near-antenna", "far-antenna", "far-transmit", "near-transmit",
      "near-receive", "far-receive", "near-noise", "far-noise", "near-channels", "far-channels",
      "collisions", "port", "restart", "silent"};
  return pick(names, value);
}
std::string_view name_of(Shape value) {
  static constexpr std::array<std::string_view, 5> names = {"none", "step", "drift", "cycle",
                                                            "burst"};
  return pick(names, value);
}
std::string_view name_of(AlertName value) {
  static constexpr std::array<std::string_view, kAlertNames> names = {
      "MarginLow", "MarginForecastLow", "BudgetDeficit", "FadingSuspected",
      "InterferenceSuspected", "EquipmentSuspected", "LossHigh", "RetriesHigh", "LatencyHigh",
      "LinkSilent", "HopUneven", "DwellExceeded", "DutyExceeded", "ForeignFrames",
      "RadioRestarted", "SettingChanged", "PortFault"};
  return pick(names, value);
}
std::string_view name_of(NoiseSource value) {
  static constexpr std::array<std::string_view, 4> names = {"none", "idle", "snr", "assumed"};
  return pick(names, value);
}
std::string_view name_of(LossSource value) {
  static constexpr std::array<std::string_view, 4> names = {"none", "seq", "counters", "retries"};
  return pick(names, value);
}
std::string_view name_of(DiscardReason value) {
  static constexpr std::array<std::string_view, kDiscardReasons> names = {
      "garbage", "too_long", "checksum", "aborted", "encoding", "overrun"};
  return pick(names, value);
}
std::string_view name_of(RejectReason value) {
  static constexpr std::array<std::string_view, kRejectReasons> names = {
      "syntax", "empty", "no_time", "late", "implausible"};
  return pick(names, value);
}

}  // namespace fadeward
