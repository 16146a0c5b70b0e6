// One invented link, the weir, that reports every ten seconds: what tests of quarter hours listen
// to.
#pragma once

#include "fadeward/base/report.hpp"
#include "fadeward/base/settings.hpp"

namespace fadeward::test {

inline constexpr Duration kWeirInterval = std::chrono::seconds{10};

inline Settings weir_settings() {
  Settings out;
  LinkSettings link;
  link.name = "weir";
  link.expect = kWeirInterval;
  link.radio.modulation = RadioSettings::Modulation::css;
  link.radio.spreading_factor = 7;
  link.radio.bandwidth_hz = 125000;
  out.links.push_back(link);
  return out;
}

/// Of the frame `seq`, inbound: -90 dBm over -115 dBm.
inline LinkReport weir_report(std::uint64_t seq) {
  LinkReport report;
  report.link = "weir";
  report.set(Field::seq, static_cast<double>(seq));
  report.set(Field::rssi_dbm, -90);
  report.set(Field::snr_db, 9);
  report.set(Field::noise_dbm, -115);
  return report;
}

}  // namespace fadeward::test
