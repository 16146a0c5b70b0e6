#include "fadeward/base/field.hpp"

#include <gtest/gtest.h>

#include <set>

namespace fadeward::field_test {
namespace {

// Contract section 2 lists the keys; the table must hold each once and nothing else.
TEST(FieldTable, HoldsTheKeysOfTheContract) {
  const std::set<std::string_view> keys = {
      "seq", "rssi_dbm", "snr_db", "noise_dbm", "far_rssi_dbm", "far_snr_db", "far_noise_dbm",
      "far_time", "channel", "frequency_hz", "spreading_factor", "bandwidth_hz", "bit_rate_bps",
      "airtime_s", "tx_power_dbm", "far_tx_power_dbm", "tx_frames", "far_tx_frames", "tx_retries",
      "far_tx_retries", "tx_failures", "far_tx_failures", "rx_frames", "far_rx_frames",
      "rx_crc_errors", "far_rx_crc_errors", "rx_foreign", "uptime_s", "latency_s", "hop_offset_s",
      "supply_v", "temperature_c"};
  ASSERT_EQ(keys.size(), kFields);
  for (std::size_t i = 0; i < kFields; ++i) {
    const FieldInfo& info = field_info(static_cast<Field>(i));
    EXPECT_TRUE(keys.contains(info.name)) << info.name;
    EXPECT_EQ(field_by_name(info.name), static_cast<Field>(i));
    EXPECT_LT(info.lowest, info.highest) << info.name;
  }
  EXPECT_FALSE(field_by_name("time"));
  EXPECT_FALSE(field_by_name("rssi"));
}

}  // namespace
}  // namespace fadeward::field_test
