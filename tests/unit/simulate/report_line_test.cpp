#include "fadeward/simulate/report_line.hpp"

#include <gtest/gtest.h>

#include "fadeward/base/field.hpp"

namespace fadeward::simulate::report_line_test {
namespace {

Exchange example() {
  Exchange e;
  e.time = Time{std::chrono::milliseconds(1932768008022)} + std::chrono::microseconds(999);
  e.channel = 12;
  e.spreading_factor = 7;
  e.near = {-101, 38, -114};
  e.far = Reading{-99, -1, -112};
  e.far_time = Time{std::chrono::milliseconds(1932768007005)};
  e.near_counters = {100, 7, 1, 95};
  e.far_counters = {70'000, 8, 2, 93};
  e.near_power_dbm = 20;
  e.far_power_dbm = 17;
  e.uptime_s = 700'123;
  e.supply_v = 12.7;
  e.temperature_c = -0.4;
  return e;
}

// Written by hand after section 2 of the contract.
TEST(ReportLine, WritesTheCanonicalReport) {
  std::string line = "left over";
  write_report(line, "\"L1\"", example(), {});
  EXPECT_EQ(line,
            R"({"time":1932768008.022,"link":"L1","seq":70000,"rssi_dbm":-101,"snr_db":9.5,)"
            R"("noise_dbm":-114,"channel":12,"far_rssi_dbm":-99,"far_snr_db":-0.25,)"
            R"("far_noise_dbm":-112,"far_time":1932768007.005,"spreading_factor":7,)"
            R"("tx_power_dbm":20,"far_tx_power_dbm":17,"tx_frames":100,"far_tx_frames":70000,)"
            R"("tx_retries":7,"far_tx_retries":8,"tx_failures":1,"far_tx_failures":2,)"
            R"("rx_frames":95,"far_rx_frames":93,"uptime_s":700123,"supply_v":12.70,)"
            R"("temperature_c":-0.4})");
}

TEST(ReportLine, LeavesOutWhatIsUnknownOrNotWanted) {
  Exchange exchange = example();
  exchange.far.reset();
  ReportStyle style;
  for (const Field field : {Field::snr_db, Field::noise_dbm, Field::tx_retries, Field::supply_v}) {
    style.omitted |= std::uint64_t{1} << static_cast<unsigned>(field);
  }
  std::string line;
  write_report(line, "\"L1\"", exchange, style);
  for (const char* gone : {"\"snr_db\"", "\"noise_dbm\"", "far_rssi", "far_snr", "far_noise",
                           "far_time", "\"tx_retries\"", "supply"}) {
    EXPECT_EQ(line.find(gone), std::string::npos) << gone;
  }
  EXPECT_NE(line.find("\"far_tx_retries\":8"), std::string::npos);
}

TEST(ReportLine, CountersWrap) {
  ReportStyle style;
  style.seq_mask = 0xffff;
  style.counter_mask = 0xff;
  std::string line;
  write_report(line, "\"L1\"", example(), style);
  EXPECT_NE(line.find("\"seq\":4464,"), std::string::npos) << line;           // 70000 - 65536
  EXPECT_NE(line.find("\"far_tx_frames\":112,"), std::string::npos) << line;  // 70000 mod 256
}

}  // namespace
}  // namespace fadeward::simulate::report_line_test
