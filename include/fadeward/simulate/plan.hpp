// A whole invented world before its first frame: levels, habits, faults and weather of every link.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "fadeward/base/field.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/simulate/fault.hpp"
#include "fadeward/simulate/weather.hpp"

namespace fadeward::simulate {

/// A change of transmit power that both radios know and report: a setting, never a fault.
struct PowerStep {
  Time from{};
  double near_db = 0;  ///< added to the gateway's power from then on
  double far_db = 0;
};

/// The leaves of one summer: come and go within weeks around the two moments.
struct Foliage {
  Time out{};         ///< half of them are out
  Time fallen{};      ///< half of them are gone
  double loss_db = 0; ///< of both directions when all are out
};

/// Somebody works on the site. What that does to the link stands among its outages and faults.
struct Visit {
  Time from{};
  Time until{};
  std::string note;
};

struct LinkPlan {
  std::string name;

  // Levels: long-term mean over channels and fading, without season and faults.
  double inbound_signal_dbm = -100;
  double outbound_signal_dbm = -100;
  double near_outside_noise_dbm = -115.2;  ///< what the antenna picks up
  double far_outside_noise_dbm = -115.2;
  double receiver_noise_dbm = -117.0;  ///< what the receiver adds, at either end

  // Radio.
  int spreading_factor = 7;
  int channels = 50;
  double near_power_dbm = 20;
  double far_power_dbm = 20;
  bool power_control = false;    ///< each end's power follows what the other hears, 2 to 20 dBm
  bool rate_adaptation = false;  ///< spreading factor 7 to 10 follows the margin

  // Habits of path and sites.
  double fading_k_db = 10;
  double channel_spread_db = 2;  ///< standard deviation of the hop channels' offsets
  double shadow_sd_db = 0.8;
  Duration shadow_time = std::chrono::hours(3);
  double daily_db = 1;  ///< amplitude of the daily cycle of the path
  double daily_noise_db = 0.4;
  double noise_sd_db = 0.5;  ///< slow wander of the outside noise at each end
  Duration noise_time = std::chrono::hours(5);
  double rain_factor = 1;        ///< share of the valley's rain loss
  double leaf_loss_db = 0;       ///< full foliage, late spring to autumn, every year alike
  std::vector<Foliage> foliage;  ///< or summer by summer
  double aging_db_per_year = 0;  ///< steady loss of the path

  std::vector<Fault> faults;
  std::vector<Outage> outages;         ///< in order of time, not overlapping
  std::vector<PowerStep> power_steps;  ///< in order of time
  std::vector<Visit> visits;
};

struct Plan {
  std::string scenario;
  std::uint64_t seed = 0;
  Time start{};
  Duration length{};
  Duration interval{};  ///< from one exchange of a link to the next
  std::vector<LinkPlan> links;
  std::vector<Shower> showers;
  std::uint64_t omitted = 0;  ///< bit n: Field(n) is left out of the reports
  int seq_bits = 64;          ///< frame numbers wrap at 2^seq_bits
  int counter_bits = 64;
};

}  // namespace fadeward::simulate
