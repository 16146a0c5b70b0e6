// The configuration of the trials: one link, chirps at spreading factor 7, budgeted at -100 dBm.
#pragma once

#include "fadeward/base/settings.hpp"

namespace fadeward {

inline Settings minimal_settings() {
  LinkSettings link;
  link.name = "L1";
  link.radio.modulation = RadioSettings::Modulation::css;
  link.radio.spreading_factor = 7;
  link.radio.bandwidth_hz = 125000;
  link.radio.noise_figure_db = 6;
  link.budget.inbound_signal_dbm = -100;
  link.budget.outbound_signal_dbm = -100;
  Settings settings;
  settings.links.push_back(link);
  return settings;
}

}  // namespace fadeward
