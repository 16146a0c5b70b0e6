// One invented link, exchange by exchange.
//
// At each exchange the gateway sends a frame to the site and a moment later the site sends one
// back, both on the same hop channel; either may be lost. A message that is not acknowledged is
// repeated at the next exchange, at most three times, then given up: each end sends exactly one
// frame per exchange, so repeats and new messages share the same counters and the same air.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/time.hpp"
#include "fadeward/simulate/gauss_markov.hpp"
#include "fadeward/simulate/plan.hpp"
#include "fadeward/simulate/random.hpp"
#include "fadeward/simulate/receiver.hpp"

namespace fadeward::simulate {

/// From the gateway's frame to the site's answer.
inline constexpr Duration kTurnaround = std::chrono::milliseconds(400);

/// One frame as it was on the air, heard or not.
struct Frame {
  double signal_dbm = 0;  ///< wanted power of this frame on the scale of the receiver's readings
  double noise_dbm = 0;   ///< noise in its channel, same scale
  double margin_db = 0;   ///< signal - noise - required SNR
  bool heard = false;
};

/// What one end counts since its radio's restart.
struct Counters {
  std::uint64_t tx_frames = 0;
  std::uint64_t tx_retries = 0;
  std::uint64_t tx_failures = 0;
  std::uint64_t rx_frames = 0;
};

struct Exchange {
  Time time{};  ///< when the site's frame arrives, or would have
  int channel = 0;
  int spreading_factor = 7;
  Frame inbound;
  Frame outbound;
  Reading near;                ///< of the inbound frame; meaningless unless it was heard
  std::optional<Reading> far;  ///< last that the site measured; empty: none since its restart
  Time far_time{};             ///< when
  Counters near_counters;      ///< after this exchange
  Counters far_counters;       ///< as the site's frame carries them
  double near_power_dbm = 0;
  double far_power_dbm = 0;
  double uptime_s = 0;  ///< of the site's radio
  double supply_v = 0;  ///< of the site
  double temperature_c = 0;
};

/// What links share at one moment.
struct Surroundings {
  double rain_db = 0;
  double near_noise_db = 0;  ///< wander of the noise at the common gateway
};

class LinkModel {
 public:
  /// `plan` must outlive the model. `index` numbers the link in its world and picks its random
  /// streams.
  LinkModel(const LinkPlan& plan, std::uint64_t seed, std::size_t index, Time start,
            Duration interval);

  /// Runs the exchange at `time` (later than the last one). Null during an outage: neither end
  /// sends. The result lives until the next call.
  ///
  /// Draws the same random numbers whatever happens, so worlds of one seed that differ in a fault
  /// only are equal up to its onset, and comparable frame by frame after it.
  const Exchange* step(Time time, const Surroundings& around);

 private:
  struct Levels {
    double inbound_dbm, outbound_dbm;  // mean power, without fading
    double near_noise_dbm, far_noise_dbm;
  };

  bool off_the_air(Time time);
  void restart_near();
  void restart_far(Time time);
  void next_channel();
  Effects effects_at(Time time, double rain_db) const;
  Levels levels_at(Time time, const Surroundings& around, const Effects& effects);
  double season_loss_db(Time time) const;
  Frame make_frame(double mean_dbm, double noise_dbm, double collision);
  void count(bool outbound_heard, bool inbound_heard);
  void adapt();

  const LinkPlan& plan_;
  const Time start_;
  Random random_;  // per frame
  Random hops_;
  GaussMarkov shadow_;
  GaussMarkov far_noise_;
  RiceFading fading_;

  // Habits, drawn once; only the hop channels wander a little over days.
  std::vector<double> channel_db_;         // offset of each hop channel, both directions
  std::vector<double> channel_wander_db_;  // what has come on top of it by now
  double wander_keep_, wander_step_db_;
  std::vector<double> near_filter_db_;  // small offsets of each receiver by channel
  std::vector<double> far_filter_db_;
  std::vector<double> near_channel_noise_db_;
  std::vector<double> far_channel_noise_db_;
  double day_sin_ = 0, day_cos_ = 0, half_day_sin_ = 0, half_day_cos_ = 0;
  double noise_sin_ = 0, noise_cos_ = 0;

  std::vector<std::uint16_t> hop_order_;
  std::size_t hop_ = 0;

  std::size_t next_outage_ = 0;
  std::size_t next_power_step_ = 0;
  double near_setting_db_ = 0, far_setting_db_ = 0;  // of power steps and power control together
  int spreading_factor_;
  double margin_in_db_, margin_out_db_;  // smoothed: what adaptation sees
  int since_decision_ = 0;               // exchanges
  Time booted_;
  int near_tries_ = 0, far_tries_ = 0;  // transmissions of the message in hand
  bool last_inbound_heard_ = true;
  Exchange now_;
};

}  // namespace fadeward::simulate
