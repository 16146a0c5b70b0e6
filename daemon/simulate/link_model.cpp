#include "fadeward/simulate/link_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace fadeward::simulate {
namespace {

constexpr double kDayS = 86400.0;
constexpr double kYearS = 365.2425 * kDayS;
constexpr int kMaxTries = 4;            // one transmission and three repeats
constexpr int kAdaptEvery = 30;         // exchanges between two decisions of an adapting end
constexpr double kWanderDb = 0.4;       // of a hop channel's offset, standard deviation
constexpr double kWanderDays = 5;       // its correlation time
constexpr std::uint64_t kStreams = 16;  // random streams set aside for each link

enum Stream : std::uint64_t { frames, hops, habits, shadow, far_noise };

Random stream(std::uint64_t seed, std::size_t index, Stream purpose) {
  return Random(seed, (index + 1) * kStreams + purpose);
}

/// Offsets by channel with this spread; neighbours are alike; mean exactly zero.
std::vector<double> channel_offsets(std::size_t channels, double spread_db, double likeness,
                                    Random& random) {
  std::vector<double> out(channels);
  double value = random.normal();
  double sum = 0;
  for (double& offset : out) {
    offset = spread_db * value;
    sum += offset;
    value = likeness * value + std::sqrt(1.0 - likeness * likeness) * random.normal();
  }
  for (double& offset : out) offset -= sum / static_cast<double>(channels);
  return out;
}

double logistic(double x) { return 1.0 / (1.0 + std::exp(-x)); }

}  // namespace

LinkModel::LinkModel(const LinkPlan& plan, std::uint64_t seed, std::size_t index, Time start,
                     Duration interval)
    : plan_(plan),
      start_(start),
      random_(stream(seed, index, frames)),
      hops_(stream(seed, index, hops)),
      shadow_(plan.shadow_sd_db, plan.shadow_time, start, stream(seed, index, shadow)),
      far_noise_(plan.noise_sd_db, plan.noise_time, start, stream(seed, index, far_noise)),
      fading_(plan.fading_k_db),
      spreading_factor_(plan.spreading_factor),
      margin_in_db_(12.0),
      margin_out_db_(12.0) {
  Random habit = stream(seed, index, habits);
  const auto channels = static_cast<std::size_t>(plan.channels);
  channel_db_ = channel_offsets(channels, plan.channel_spread_db, 0.5, habit);
  channel_wander_db_.assign(channels, 0.0);
  const double visit_s = duration_to_seconds(interval) * plan.channels;
  wander_keep_ = std::exp(-visit_s / (kWanderDays * kDayS));
  wander_step_db_ = kWanderDb * std::sqrt(1.0 - wander_keep_ * wander_keep_);
  near_filter_db_ = channel_offsets(channels, 0.3, 0.0, habit);
  far_filter_db_ = channel_offsets(channels, 0.3, 0.0, habit);
  near_channel_noise_db_ = channel_offsets(channels, 0.4, 0.0, habit);
  far_channel_noise_db_ = channel_offsets(channels, 0.4, 0.0, habit);

  const double full_turn = 2.0 * std::numbers::pi;
  const double day_phase = habit.uniform(0.0, full_turn);
  const double half_day_phase = habit.uniform(0.0, full_turn);
  const double noise_phase = habit.uniform(0.0, full_turn);
  day_sin_ = plan.daily_db * std::sin(day_phase);
  day_cos_ = plan.daily_db * std::cos(day_phase);
  half_day_sin_ = 0.3 * plan.daily_db * std::sin(half_day_phase);
  half_day_cos_ = 0.3 * plan.daily_db * std::cos(half_day_phase);
  noise_sin_ = plan.daily_noise_db * std::sin(noise_phase);
  noise_cos_ = plan.daily_noise_db * std::cos(noise_phase);

  hop_order_.resize(channels);
  for (std::size_t i = 0; i < channels; ++i) hop_order_[i] = static_cast<std::uint16_t>(i);
  hop_ = channels;  // shuffled before the first exchange

  // Both radios have been at work for some days.
  booted_ = start - seconds_to_duration(std::floor(habit.uniform(1.0, 20.0) * kDayS));
  const auto before = static_cast<std::uint64_t>((start - booted_) / interval);
  const std::uint64_t missed = before / 500 + habit.below(20);
  const Counters so_far{before, missed, 0, before - std::min(before, missed)};
  now_.near_counters = now_.far_counters = so_far;
}

const Exchange* LinkModel::step(Time time, const Surroundings& around) {
  now_.time = time;
  next_channel();
  const Effects effects = effects_at(time, around.rain_db);
  const Levels levels = levels_at(time, around, effects);
  now_.outbound = make_frame(levels.outbound_dbm, levels.far_noise_dbm, effects.collision_out);
  const Reading far = measure(now_.outbound.signal_dbm, now_.outbound.noise_dbm, random_);
  now_.inbound = make_frame(levels.inbound_dbm, levels.near_noise_dbm, effects.collision_in);
  now_.near = measure(now_.inbound.signal_dbm, now_.inbound.noise_dbm, random_);
  if (off_the_air(time)) return nullptr;

  if (now_.outbound.heard) {
    now_.far = far;
    now_.far_time = time - kTurnaround;
  }
  count(now_.outbound.heard, now_.inbound.heard);
  now_.near_power_dbm = plan_.near_power_dbm + near_setting_db_;
  now_.far_power_dbm = plan_.far_power_dbm + far_setting_db_;
  now_.spreading_factor = spreading_factor_;
  now_.uptime_s = std::floor(duration_to_seconds(time - booted_));
  // A tired supply is why this transmitter is weak; a healthy one shows sun and night.
  const double day = duration_to_seconds(time.time_since_epoch()) / kDayS;
  const double sun = -std::cos(2.0 * std::numbers::pi * day);
  now_.supply_v = 13.1 + 0.4 * sun - 0.15 * effects.far_transmit_db;
  now_.temperature_c = 11.0 + 6.0 * sun - 0.8 * around.rain_db;
  adapt();
  return &now_;
}

bool LinkModel::off_the_air(Time time) {
  while (next_outage_ < plan_.outages.size()) {
    const Outage& outage = plan_.outages[next_outage_];
    if (time < outage.from) return false;
    if (time < outage.until) return true;
    if (outage.near_restarts) restart_near();
    if (outage.far_restarts) restart_far(outage.until);
    ++next_outage_;
  }
  return false;
}

void LinkModel::restart_near() {
  now_.near_counters = {};
  near_tries_ = 0;
}

void LinkModel::restart_far(Time time) {
  now_.far_counters = {};
  now_.far.reset();
  booted_ = time;
  far_tries_ = 0;
}

/// Every channel once, then again in another order.
void LinkModel::next_channel() {
  if (hop_ == hop_order_.size()) {
    hop_ = 0;
    for (std::size_t i = hop_order_.size() - 1; i > 0; --i) {
      std::swap(hop_order_[i], hop_order_[hops_.below(static_cast<std::uint32_t>(i + 1))]);
    }
  }
  now_.channel = hop_order_[hop_++];
  double& wander_db = channel_wander_db_[static_cast<std::size_t>(now_.channel)];
  wander_db = wander_keep_ * wander_db + wander_step_db_ * hops_.normal();
}

Effects LinkModel::effects_at(Time time, double rain_db) const {
  Effects sum;
  for (const Fault& fault : plan_.faults) add_effects(fault, time, now_.channel, sum, rain_db);
  return sum;
}

LinkModel::Levels LinkModel::levels_at(Time time, const Surroundings& around,
                                       const Effects& effects) {
  while (next_power_step_ < plan_.power_steps.size() &&
         time >= plan_.power_steps[next_power_step_].from) {
    near_setting_db_ += plan_.power_steps[next_power_step_].near_db;
    far_setting_db_ += plan_.power_steps[next_power_step_].far_db;
    ++next_power_step_;
  }
  const double day_angle = std::fmod(duration_to_seconds(time.time_since_epoch()), kDayS) *
                           (2.0 * std::numbers::pi / kDayS);
  const double s = std::sin(day_angle);
  const double c = std::cos(day_angle);
  const double daily_db = day_cos_ * s + day_sin_ * c + half_day_cos_ * 2.0 * s * c +
                          half_day_sin_ * (1.0 - 2.0 * s * s);
  const double daily_noise_db = noise_cos_ * s + noise_sin_ * c;
  const auto channel = static_cast<std::size_t>(now_.channel);

  const double path_db = shadow_.at(time) + daily_db - plan_.rain_factor * around.rain_db -
                         season_loss_db(time) + channel_db_[channel] + channel_wander_db_[channel] -
                         effects.path_db - effects.near_antenna_db - effects.far_antenna_db;
  // Outside noise comes through the antenna, the receiver's own does not.
  const auto noise = [&](double outside_dbm, double wander_db, double antenna_db) {
    return dbm_of(power_of(outside_dbm + wander_db + daily_noise_db - antenna_db) +
                  power_of(plan_.receiver_noise_dbm));
  };
  Levels out;
  out.inbound_dbm = plan_.inbound_signal_dbm + path_db + near_filter_db_[channel] +
                    far_setting_db_ - effects.far_transmit_db - effects.near_receive_db;
  out.outbound_dbm = plan_.outbound_signal_dbm + path_db + far_filter_db_[channel] +
                     near_setting_db_ - effects.near_transmit_db - effects.far_receive_db;
  out.near_noise_dbm =
      noise(plan_.near_outside_noise_dbm, around.near_noise_db, effects.near_antenna_db) +
      near_channel_noise_db_[channel] + effects.near_noise_db - effects.near_receive_db;
  out.far_noise_dbm =
      noise(plan_.far_outside_noise_dbm, far_noise_.at(time), effects.far_antenna_db) +
      far_channel_noise_db_[channel] + effects.far_noise_db - effects.far_receive_db;
  return out;
}

/// Leaves, those of the calendar from about the first of May to the middle of October, and steady
/// wear.
double LinkModel::season_loss_db(Time time) const {
  double loss_db = 0;
  if (plan_.leaf_loss_db != 0) {
    const double day = std::fmod(duration_to_seconds(time.time_since_epoch()), kYearS) / kDayS;
    loss_db += plan_.leaf_loss_db * (logistic((day - 122) / 6) - logistic((day - 290) / 7));
  }
  for (const Foliage& one : plan_.foliage) {
    const double out = duration_to_seconds(time - one.out) / kDayS;
    const double fallen = duration_to_seconds(time - one.fallen) / kDayS;
    if (out < -90 || fallen > 90) continue;  // nothing is left of it
    loss_db += one.loss_db * (logistic(out / 6) - logistic(fallen / 7));
  }
  if (plan_.aging_db_per_year != 0) {
    loss_db += plan_.aging_db_per_year * duration_to_seconds(time - start_) / kYearS;
  }
  return loss_db;
}

Frame LinkModel::make_frame(double mean_dbm, double noise_dbm, double collision) {
  Frame frame;
  frame.signal_dbm = mean_dbm + dbm_of(fading_.draw(random_));
  frame.noise_dbm = noise_dbm;
  frame.margin_db = frame.signal_dbm - noise_dbm - required_snr_db(spreading_factor_);
  const bool above = random_.uniform() < success_probability(frame.margin_db);
  const bool undisturbed = random_.uniform() >= collision;
  frame.heard = above && undisturbed;
  return frame;
}

void LinkModel::count(bool outbound_heard, bool inbound_heard) {
  Counters& near = now_.near_counters;
  Counters& far = now_.far_counters;

  ++near.tx_frames;
  if (near_tries_++ > 0) ++near.tx_retries;
  if (outbound_heard) ++far.rx_frames;

  // The gateway's frame acknowledges what the site sent last time.
  if (far_tries_ > 0 && outbound_heard && last_inbound_heard_) far_tries_ = 0;
  if (far_tries_ == kMaxTries) {
    ++far.tx_failures;
    far_tries_ = 0;
  }
  ++far.tx_frames;
  if (far_tries_++ > 0) ++far.tx_retries;
  if (inbound_heard) ++near.rx_frames;
  last_inbound_heard_ = inbound_heard;

  // The site's frame acknowledges the gateway's of the same exchange.
  if (outbound_heard && inbound_heard) {
    near_tries_ = 0;
  } else if (near_tries_ == kMaxTries) {
    ++near.tx_failures;
    near_tries_ = 0;
  }
}

void LinkModel::adapt() {
  if (!plan_.power_control && !plan_.rate_adaptation) return;
  // A frame that does not arrive counts as one without margin: a link that loses everything must
  // still find back.
  const auto smooth = [](double& mean_db, const Frame& frame) {
    mean_db += 0.1 * ((frame.heard ? frame.margin_db : 0.0) - mean_db);
  };
  smooth(margin_in_db_, now_.inbound);
  smooth(margin_out_db_, now_.outbound);
  if (++since_decision_ < kAdaptEvery) return;
  since_decision_ = 0;
  if (plan_.power_control) {
    const auto follow = [](double margin_db, double nominal_dbm, double& setting_db) {
      const double power_dbm = nominal_dbm + setting_db;
      if (margin_db < 11 && power_dbm + 1 <= 20) setting_db += 1;
      if (margin_db > 14 && power_dbm - 1 >= 2) setting_db -= 1;
    };
    follow(margin_in_db_, plan_.far_power_dbm, far_setting_db_);
    follow(margin_out_db_, plan_.near_power_dbm, near_setting_db_);
  }
  if (plan_.rate_adaptation) {
    const double worst_db = std::min(margin_in_db_, margin_out_db_);
    int by = 0;
    if (worst_db < 5 && spreading_factor_ < 10) by = 1;
    if (worst_db > 9.5 && spreading_factor_ > 7) by = -1;
    spreading_factor_ += by;
    margin_in_db_ += 2.5 * by;
    margin_out_db_ += 2.5 * by;
  }
}

}  // namespace fadeward::simulate
