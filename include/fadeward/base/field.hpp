// The numeric keys of a link report: one table for every decoder, check and printer.
#pragma once

#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string_view>

namespace fadeward {

/// In the order in which they are likeliest together: a report touches few cache lines.
enum class Field : std::uint8_t {
  seq, rssi_dbm, snr_db, noise_dbm, channel,
  far_rssi_dbm, far_snr_db, far_noise_dbm, far_time,
  frequency_hz, spreading_factor, bandwidth_hz, bit_rate_bps, airtime_s,
  tx_power_dbm, far_tx_power_dbm,
  tx_frames, far_tx_frames, tx_retries, far_tx_retries, tx_failures, far_tx_failures,
  rx_frames, far_rx_frames, rx_crc_errors, far_rx_crc_errors, rx_foreign,
  uptime_s, latency_s, hop_offset_s, supply_v, temperature_c,
};
inline constexpr std::size_t kFields = 32;

/// What kind of quantity a field is; decides what a repeat or a decrease means.
enum class FieldKind : std::uint8_t { level, counter, setting, time };

struct FieldInfo {
  std::string_view name;   ///< key of the canonical report, unit suffix included
  FieldKind kind;
  double lowest;           ///< values outside [lowest, highest] cannot be what the name says
  double highest;
};

/// Name, kind and possible range. The ranges are wide: they stop nonsense (an RSSI of +200 dBm),
/// not unusual sites.
const FieldInfo& field_info(Field field);

/// The field with this canonical name; empty if there is none ("time" and "link" are not numeric
/// fields and are not found here).
std::optional<Field> field_by_name(std::string_view name);

}  // namespace fadeward
