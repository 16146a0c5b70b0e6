#include "fadeward/base/field.hpp"

#include <array>

namespace fadeward {

namespace {

constexpr double kCounterHighest = 9007199254740992.0;   // 2^53: beyond it +1 is lost in a double
constexpr double kLatestTime = 32503680000.0;            // the year 3000

using enum FieldKind;
constexpr std::array<FieldInfo, kFields> kTable = {{
    {"seq", counter, 0, kCounterHighest},
    {"rssi_dbm", level, -200, 40},
    {"snr_db", level, -60, 100},
    {"noise_dbm", level, -200, 40},
    {"channel", setting, 0, 65535},
    {"far_rssi_dbm", level, -200, 40},
    {"far_snr_db", level, -60, 100},
    {"far_noise_dbm", level, -200, 40},
    {"far_time", time, 0, kLatestTime},
    {"frequency_hz", setting, 1e6, 1e12},
    {"spreading_factor", setting, 5, 12},
    {"bandwidth_hz", setting, 1, 1e9},
    {"bit_rate_bps", setting, 1, 1e10},
    {"airtime_s", level, 0, 3600},
    {"tx_power_dbm", setting, -60, 60},
    {"far_tx_power_dbm", setting, -60, 60},
    {"tx_frames", counter, 0, kCounterHighest},
    {"far_tx_frames", counter, 0, kCounterHighest},
    {"tx_retries", counter, 0, kCounterHighest},
    {"far_tx_retries", counter, 0, kCounterHighest},
    {"tx_failures", counter, 0, kCounterHighest},
    {"far_tx_failures", counter, 0, kCounterHighest},
    {"rx_frames", counter, 0, kCounterHighest},
    {"far_rx_frames", counter, 0, kCounterHighest},
    {"rx_crc_errors", counter, 0, kCounterHighest},
    {"far_rx_crc_errors", counter, 0, kCounterHighest},
    {"rx_foreign", counter, 0, kCounterHighest},
    {"uptime_s", counter, 0, 1e11},
    {"latency_s", level, 0, 86400},
    {"hop_offset_s", level, -3600, 3600},
    {"supply_v", level, -1000, 1000},
    {"temperature_c", level, -100, 200},
}};

}  // namespace

const FieldInfo& field_info(Field field) { return kTable[static_cast<std::size_t>(field)]; }

std::optional<Field> field_by_name(std::string_view name) {
  for (std::size_t i = 0; i < kFields; ++i)
    if (kTable[i].name == name) return static_cast<Field>(i);
  return {};
}

}  // namespace fadeward
