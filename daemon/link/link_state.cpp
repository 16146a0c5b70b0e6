#include "fadeward/link/link_state.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>

#include "fadeward/base/decibel.hpp"

namespace fadeward::link {

namespace {

constexpr Duration kShortestSilence = std::chrono::minutes{15};
constexpr Duration kNeverHeard = std::chrono::hours{3};
constexpr Duration kHeardOnce = std::chrono::hours{25};
constexpr double kSilentIntervals = 3;
constexpr double kPresumeAfterIntervals = 2.5;
constexpr double kPresumeAfterUs = 60e6;
constexpr Duration kObservedForPresumption = std::chrono::minutes{10};
constexpr Duration kNoiseMemory = std::chrono::hours{1};
constexpr std::uint64_t kLearnAll = 256;
constexpr std::uint32_t kFewestForNoise = 10;
constexpr double kNoCeilingDb = 1e9;
constexpr double kCssCeilingDb = 9.0;  // common practice: chirp receivers stop at about 10 dB

constexpr std::uint64_t bit(Field field) {
  return std::uint64_t{1} << static_cast<unsigned>(field);
}
constexpr std::uint64_t kCounterFields = bit(Field::tx_frames) | bit(Field::far_tx_frames) |
                                         bit(Field::tx_retries) | bit(Field::far_tx_retries) |
                                         bit(Field::tx_failures) | bit(Field::far_tx_failures) |
                                         bit(Field::rx_frames) | bit(Field::far_rx_frames) |
                                         bit(Field::rx_foreign) | bit(Field::uptime_s);
constexpr std::uint64_t kSettingFields = bit(Field::tx_power_dbm) | bit(Field::far_tx_power_dbm) |
                                         bit(Field::spreading_factor) | bit(Field::bandwidth_hz) |
                                         bit(Field::bit_rate_bps);
constexpr std::uint64_t kRateFields =
    bit(Field::spreading_factor) | bit(Field::bandwidth_hz) | bit(Field::bit_rate_bps);
constexpr std::uint64_t kHealthFields =
    bit(Field::latency_s) | bit(Field::supply_v) | bit(Field::temperature_c) | bit(Field::uptime_s);
constexpr std::uint64_t kFarLevels =
    bit(Field::far_rssi_dbm) | bit(Field::far_snr_db) | bit(Field::far_noise_dbm);

std::optional<double> get(const LinkReport& report, Field field) {
  return report.has(field) ? std::optional(report[field]) : std::nullopt;
}
std::uint32_t whole(double value) {
  return static_cast<std::uint32_t>(std::clamp(value, 0.0, 4e9));
}

}  // namespace

LinkState::LinkState(const LinkSettings& settings, bool keep_intervals)
    : sequence_(settings.radio.seq_bits),
      directions_{DirectionState(keep_intervals), DirectionState(keep_intervals)} {
  reconfigure(settings);
}

void LinkState::reconfigure(const LinkSettings& settings) {
  radio_ = settings.radio;
  seq_counts_frames_ = radio_.seq == RadioSettings::Seq::frames;
  expect_ = settings.expect;
  silent_ = settings.alerts.silent;
  site_noise_figure_db_ = {settings.budget.near.noise_figure_db,
                           settings.budget.far.noise_figure_db};
  // Inbound is sent by the far end.
  site_power_dbm_ = {settings.budget.far.power_dbm, settings.budget.near.power_dbm};
  settle_rate();
}

std::optional<Duration> LinkState::expect() const {
  return expect_ ? expect_ : interval_.interval();
}

Duration LinkState::silent_after() const {
  if (silent_) return *silent_;
  const auto usual = expect();
  const Duration span = usual ? *usual : interval_.longest();
  if (span > Duration{})
    return std::max(kShortestSilence, Duration{static_cast<Duration::rep>(
                                          silent_intervals_ * static_cast<double>(span.count()))});
  return last_report_ ? kHeardOnce : kNeverHeard;
}

std::optional<int> LinkState::spreading_factor() const {
  return rate_.spreading_factor ? rate_.spreading_factor : radio_.spreading_factor;
}
std::optional<double> LinkState::bandwidth_hz() const {
  return rate_.bandwidth_hz ? rate_.bandwidth_hz : radio_.bandwidth_hz;
}
std::optional<double> LinkState::power_dbm(Direction d) const {
  const auto& reported = direction(d).power_dbm;
  return reported ? reported : site_power_dbm_[static_cast<std::size_t>(d)];
}

double LinkState::unused_power_db(Direction d) const {
  const auto& now = direction(d).power_dbm;
  if (!now) return 0;
  const double most =
      radio_.max_power_dbm.value_or(highest_power_dbm_[static_cast<std::size_t>(d)].value_or(*now));
  return std::max(0.0, most - *now);
}

std::optional<double> LinkState::unused_db(Direction d) const {
  const bool by_power = radio_.max_power_dbm && direction(d).power_dbm;
  if (!by_power && !radio_.slowest.said()) return {};
  return (by_power ? unused_power_db(d) : 0) + slower_db_;
}

// ---- one report ----------------------------------------------------------------------------

struct LinkState::Frame {
  bool fresh = true;     ///< a frame not reported before
  bool in_order = true;  ///< its counters are newer than those seen
};

void LinkState::note_restart(Noticed& noticed, Noticed::End end) {
  if (noticed.restarted == Noticed::End::none) ++restarts;
  if (noticed.restarted == Noticed::End::none || noticed.restarted == Noticed::End::unknown)
    noticed.restarted = end;
}

LinkState::Frame LinkState::follow_sequence(const LinkReport& report, Time at, Noticed& noticed) {
  const bool older = last_report_ && at < *last_report_;
  if (!report.has(Field::seq)) {
    if (older) ++late;
    if (last_frame_ && !gap_unknown_ && !older) interval_.add(at - *last_frame_);
    if (!older) last_frame_ = at;
    return {true, !older};
  }
  const bool counts_loss = seq_counts_frames_;
  DirectionState& inbound = direction(Direction::inbound);
  if (!gap_unknown_ && last_frame_ && at > *last_frame_ && sequence_.take_next(report[Field::seq]))
      [[likely]] {
    interval_.add(at - *last_frame_);
    if (counts_loss) inbound.heard(at, LossSource::seq);
    last_frame_ = at;
    return {true, !older};
  }
  const auto since = last_frame_ ? std::optional(at - *last_frame_) : std::nullopt;
  const SequenceStep step = sequence_.take(report[Field::seq], since, expect(), gap_unknown_);
  switch (step.kind) {
    case SequenceStep::Kind::repeat: ++repeats; return {false, !older};
    case SequenceStep::Kind::late:
      ++late;
      if (counts_loss) {
        inbound.one_lost_fewer(at);
        inbound.counted(at, at, 1, 0, LossSource::seq);
      }
      return {true, false};
    case SequenceStep::Kind::restart: note_restart(noticed, Noticed::End::far); [[fallthrough]];
    case SequenceStep::Kind::first:
      if (counts_loss) inbound.counted(at, at, 1, 0, LossSource::seq);
      break;
    case SequenceStep::Kind::next:
      if (since && *since > Duration{}) interval_.add(*since / std::int64_t{step.frames});
      if (counts_loss) {
        inbound.counted(last_frame_.value_or(at), at, 1, step.lost, LossSource::seq);
      } else if (step.lost > 0) {
        inbound.lost_total += step.lost;
        inbound.interval.add_lost(step.lost);
      }
      break;
  }
  if (!last_frame_ || at > *last_frame_) last_frame_ = at;
  return {true, true};
}

CounterStep LinkState::step(const LinkReport& report, Field field, Counter counter,
                            Noticed& noticed) {
  if (!report.has(field)) return {};
  const CounterStep step = counters_[counter].take(report[field], radio_.counter_bits.value_or(0));
  if (step.restarted) {
    const bool far = counter == kFarTxFrames || counter == kFarTxRetries ||
                     counter == kFarTxFailures || counter == kFarRxFrames;
    note_restart(noticed, counter == kUptime ? Noticed::End::unknown
                          : far              ? Noticed::End::far
                                             : Noticed::End::near);
  }
  return step;
}

void LinkState::follow_counters(const LinkReport& report, Time at, Noticed& noticed) {
  const Time before = last_report_.value_or(at);
  if (report.has(Field::uptime_s)) {
    // Uptime is a clock, not a wrapping counter: any real decrease is a restart.
    CounterTracker& uptime = counters_[kUptime];
    const CounterStep grown = uptime.take(report[Field::uptime_s], 62);
    if (grown.restarted) note_restart(noticed, Noticed::End::unknown);
  }
  const CounterStep tx = step(report, Field::tx_frames, kTxFrames, noticed);
  const CounterStep far_tx = step(report, Field::far_tx_frames, kFarTxFrames, noticed);
  const CounterStep rx = step(report, Field::rx_frames, kRxFrames, noticed);
  const CounterStep far_rx = step(report, Field::far_rx_frames, kFarRxFrames, noticed);
  const CounterStep retries = step(report, Field::tx_retries, kTxRetries, noticed);
  const CounterStep far_retries = step(report, Field::far_tx_retries, kFarTxRetries, noticed);
  const CounterStep failures = step(report, Field::tx_failures, kTxFailures, noticed);
  const CounterStep far_failures = step(report, Field::far_tx_failures, kFarTxFailures, noticed);
  const CounterStep refused = step(report, Field::rx_foreign, kForeign, noticed);
  if (refused.grown > 0) {
    foreign += whole(refused.grown);
    has_foreign_ = true;
    if (!foreign_counts_) foreign_counts_ = std::make_unique<estimate::RollingCounts>();
    foreign_counts_->add(at, whole(refused.grown), 0);
  }

  struct Side {
    Direction direction;
    const CounterStep &sent, &heard, &retries, &failures;
    CounterPair& pair;
  };
  const Side sides[] = {{Direction::inbound, far_tx, rx, far_retries, far_failures, inbound_pair_},
                        {Direction::outbound, tx, far_rx, retries, failures, outbound_pair_}};
  for (const Side& side : sides) {
    DirectionState& state = direction(side.direction);
    if (side.sent.known || side.retries.known) {
      const double sent = side.sent.known ? side.sent.grown : side.retries.grown + 1;
      state.sent(at, whole(sent), whole(std::min(side.retries.grown, sent)),
                 whole(side.failures.grown));
    }
    const bool by_seq =
        side.direction == Direction::inbound && state.loss_source == LossSource::seq;
    if (by_seq) continue;
    if (gap_unknown_) side.pair.forget();
    const PairStep paired = side.pair.take(side.sent, side.heard);
    if (side.pair.active()) {
      if (paired.heard > 0 || paired.lost > 0)
        state.counted(before, at, paired.heard, paired.lost, LossSource::counters);
    } else if (side.sent.known && side.retries.known && !gap_unknown_) {
      const double lost = std::min(side.retries.grown + side.failures.grown, side.sent.grown);
      state.counted(before, at, whole(side.sent.grown - lost), whole(lost), LossSource::retries);
    }
  }
}

void LinkState::follow_settings(const LinkReport& report, Noticed& noticed) {
  static constexpr std::array<std::pair<Field, Setting>, kSettings> watched = {
      {{Field::tx_power_dbm, kPower},
       {Field::far_tx_power_dbm, kFarPower},
       {Field::spreading_factor, kSpreading},
       {Field::bandwidth_hz, kBandwidth},
       {Field::bit_rate_bps, kBitRate}}};
  for (const auto& [field, setting] : watched) {
    if (!report.has(field)) continue;
    const auto change = settings_seen_[setting].take(report[field]);
    if (!change) continue;
    noticed.setting = field;
    noticed.change = *change;
  }
}

void LinkState::follow_health(const LinkReport& report, Time) {
  if (report.has(Field::supply_v)) supply_v = report[Field::supply_v];
  if (report.has(Field::temperature_c)) temperature_c = report[Field::temperature_c];
  if (report.has(Field::uptime_s)) uptime_s = report[Field::uptime_s];
  if (!report.has(Field::latency_s)) return;
  if (latencies_.size() == kLatencies) latencies_.pop();
  latencies_.push(static_cast<float>(report[Field::latency_s]));
}

void LinkState::follow_rate(const LinkReport& report) {
  budget::FrameRate rate;
  if (report.has(Field::spreading_factor))
    rate.spreading_factor = static_cast<int>(report[Field::spreading_factor]);
  rate.bandwidth_hz = get(report, Field::bandwidth_hz);
  rate.bit_rate_bps = get(report, Field::bit_rate_bps);
  if (rate.spreading_factor == rate_.spreading_factor && rate.bandwidth_hz == rate_.bandwidth_hz &&
      rate.bit_rate_bps == rate_.bit_rate_bps)
    return;
  rate_ = rate;
  rate_known_ = (report.present & kRateFields) != 0;
  settle_rate();
}

void LinkState::settle_rate() {
  slower_db_ = budget::slowest_rate_gain_db(radio_, rate_);
  for (std::size_t d = 0; d < kDirections; ++d)
    receivers_[d] = budget::receiver_of(radio_, rate_, site_noise_figure_db_[d]);
  for (const Direction d : {Direction::inbound, Direction::outbound}) {
    direction(d).set_frames(frame_setting(d));
    settle_rules(d);
  }
}

void LinkState::follow_power(Direction d, const LinkReport& report, Field field) {
  if (direction(d).power_dbm == report[field]) return;
  direction(d).power_dbm = report[field];
  std::optional<double>& highest = highest_power_dbm_[static_cast<std::size_t>(d)];
  highest = std::max(highest.value_or(report[field]), report[field]);
  direction(d).set_frames(frame_setting(d));
}

void LinkState::settle_rules(Direction d) {
  DirectionState& state = direction(d);
  ReadingRules& rules = state.rules;
  rules.rssi_is_total = radio_.rssi == RadioSettings::Rssi::total;
  rules.level_offset_db =
      d == Direction::inbound ? radio_.level_offset_db : radio_.far_level_offset_db;
  rules.receiver_noise_dbm = receiver(d).noise_dbm;
  rules.required_snr_db = receiver(d).required_snr_db;
  rules.snr_ceiling_db = kNoCeilingDb;
  if (radio_.snr_ceiling_db) {
    rules.snr_ceiling_db = *radio_.snr_ceiling_db;
    return;
  }
  if (radio_.modulation == RadioSettings::Modulation::css) rules.snr_ceiling_db = kCssCeilingDb;
  if (const auto learned = state.saturation.ceiling_db())
    rules.snr_ceiling_db = std::min(rules.snr_ceiling_db, *learned);
}

void LinkState::learn_saturation(Direction d, const Reading& reading) {
  DirectionState& state = direction(d);
  const auto before = state.saturation.ceiling_db();
  if (!state.saturation.add(*reading.rssi_dbm, *reading.snr_db)) return;
  settle_rules(d);
  const bool new_ceiling = !before && state.saturation.ceiling_db() && !radio_.snr_ceiling_db;
  if (new_ceiling && state.noise_source == NoiseSource::snr) state.disown_noise();
}

FrameSetting LinkState::frame_setting(Direction d) const {
  FrameSetting setting;
  setting.power_dbm = power_dbm(d);
  setting.spreading_factor = spreading_factor().value_or(0);
  setting.bandwidth_hz = bandwidth_hz().value_or(0);
  setting.noise_bandwidth_hz = receiver(d).bandwidth_hz;
  return setting;
}

void LinkState::measure(Direction d, const Reading& reading, Time at,
                        std::optional<std::uint8_t> channel, std::uint8_t weight) {
  DirectionState& state = direction(d);
  const bool both = reading.rssi_dbm && reading.snr_db;
  // A ceiling does not change from frame to frame.
  if (both && (state.frames_total < kLearnAll || state.frames_total % 4 == 0))
    learn_saturation(d, reading);
  ReadingRules& rules = state.rules;
  if (both && reading.noise_dbm && rules.rssi_is_total) [[likely]] {  // what most receivers report
    Separated levels;
    levels.source = NoiseSource::idle;
    levels.noise_dbm = *reading.noise_dbm + rules.level_offset_db;
    const double total_dbm = *reading.rssi_dbm + rules.level_offset_db;
    const bool usable = *reading.snr_db < rules.snr_ceiling_db &&
                        !snr_lags_behind(*reading.snr_db, total_dbm - levels.noise_dbm);
    levels.signal_dbm = usable ? total_dbm - excess_over_signal_db(*reading.snr_db)
                               : signal_of_total(total_dbm, levels.noise_dbm);
    state.measured(at, levels, rules.required_snr_db, channel, weight);
    return;
  }
  const bool by_snr = both && !reading.noise_dbm;
  if (by_snr) {
    const bool recent =
        state.snr_noise_frames >= kFewestForNoise && at - state.snr_noise_at < kNoiseMemory;
    rules.recent_noise_dbm = recent ? state.snr_noise_dbm : std::nullopt;
  }
  auto levels = separate(reading, rules);
  if (!levels) return;
  const bool bent = by_snr && *reading.snr_db >= rules.snr_ceiling_db - kBendDb;
  if (bent && rules.recent_noise_dbm) {
    levels->noise_dbm = *rules.recent_noise_dbm;
  } else if (by_snr &&
             *reading.snr_db < rules.snr_ceiling_db) {  // a bent one where there is no better
    state.snr_noise_dbm =
        state.snr_noise_dbm
            ? *state.snr_noise_dbm + 0.05 * (levels->noise_dbm - *state.snr_noise_dbm)
            : levels->noise_dbm;
    state.snr_noise_frames =
        at - state.snr_noise_at < kNoiseMemory ? state.snr_noise_frames + 1 : 1;
    state.snr_noise_at = at;
  }
  state.measured(at, *levels, rules.required_snr_db, channel, weight);
}

std::optional<std::uint8_t> LinkState::measure_inbound(const LinkReport& report, Time at) {
  std::optional<std::uint8_t> channel;
  ChannelShares& channels = direction(Direction::inbound).channels;
  if (report.has(Field::channel))
    channel = channels.index_of(report[Field::channel]);
  else if (report.has(Field::frequency_hz))
    channel = channels.index_of(report[Field::frequency_hz]);
  if (report.has(Field::far_tx_power_dbm))
    follow_power(Direction::inbound, report, Field::far_tx_power_dbm);
  measure(Direction::inbound,
          {get(report, Field::rssi_dbm), get(report, Field::snr_db), get(report, Field::noise_dbm)},
          at, channel);
  return channel;
}

/// Both frames of one exchange share a hop channel: a level that the far end measured a moment ago
/// belongs to the channel of its own frame.
std::optional<std::uint8_t> LinkState::far_channel(const LinkReport& report, Time at,
                                                   Time measured_at) {
  constexpr Duration kOneExchange = std::chrono::seconds{3};
  if (at - measured_at > kOneExchange) return {};
  ChannelShares& channels = direction(Direction::outbound).channels;
  if (report.has(Field::channel)) return channels.index_of(report[Field::channel]);
  if (report.has(Field::frequency_hz)) return channels.index_of(report[Field::frequency_hz]);
  return {};
}

/// `weight`: of a measurement on the channel on which the report came.
void LinkState::measure_outbound(const LinkReport& report, Time at, std::uint8_t weight) {
  FarReading reading;
  if (report.has(Field::far_rssi_dbm)) reading.rssi_dbm = report[Field::far_rssi_dbm];
  if (report.has(Field::far_snr_db)) reading.snr_db = report[Field::far_snr_db];
  if (report.has(Field::far_noise_dbm)) reading.noise_dbm = report[Field::far_noise_dbm];
  Time measured_at = at;
  if (report.has(Field::far_time)) {
    const double far_time = report[Field::far_time];
    if (last_far_time_ && far_time == *last_far_time_) return;
    last_far_time_ = far_time;
    const Time told = from_unix_seconds(far_time);
    if (told <= at && at - told < std::chrono::hours{1}) measured_at = told;
    const auto usual = expect();
    if (usual && at - told > *usual / 2)
      weight = FrameWindow::kFullWeight;  // another frame, another channel
  } else if (reading == last_far_) {
    return;  // the far end has measured nothing since
  }
  last_far_ = reading;
  if (report.has(Field::tx_power_dbm))
    follow_power(Direction::outbound, report, Field::tx_power_dbm);
  measure(Direction::outbound,
          {get(report, Field::far_rssi_dbm), get(report, Field::far_snr_db),
           get(report, Field::far_noise_dbm)},
          measured_at, far_channel(report, at, measured_at), weight);
}

Noticed LinkState::take(const LinkReport& report, Time at) {
  Noticed noticed;
  ++reports;
  // A sender that restarted begins its numbers anew: said by its uptime before they are read.
  if (report.has(Field::uptime_s) && uptime_s && report[Field::uptime_s] < *uptime_s &&
      last_report_ && at >= *last_report_)
    sequence_.forget();
  const Frame frame = follow_sequence(report, at, noticed);
  if (frame.in_order) {
    if ((report.present & kCounterFields) != 0) follow_counters(report, at, noticed);
    if ((report.present & kHealthFields) != 0) follow_health(report, at);
    if (rate_known_ || (report.present & kRateFields) != 0) follow_rate(report);
    if ((report.present & kSettingFields) != 0) follow_settings(report, noticed);
  }
  std::optional<std::uint8_t> channel;
  if (frame.fresh) channel = measure_inbound(report, at);
  if (frame.in_order && (report.present & kFarLevels) != 0) {
    // Only what arrives on a report is known, and reports come less often on weak channels.
    const std::uint8_t weight = channel ? direction(Direction::inbound).channels.weight(*channel)
                                        : FrameWindow::kFullWeight;
    measure_outbound(report, at,
                     static_cast<std::uint8_t>((3 * weight + FrameWindow::kFullWeight) / 4));
  }
  if (noticed.restarted != Noticed::End::none) {
    // The numbers of the other counters meant another life of the radio.
    if (report.has(Field::uptime_s) && !report.has(Field::seq)) sequence_.forget();
    inbound_pair_.forget();
    outbound_pair_.forget();
  }
  gap_unknown_ = false;
  if (!last_report_ || at > *last_report_) last_report_ = at;
  return noticed;
}

/// Where nine of ten frames are lost, three missing ones mean nothing: the silence must be so long
/// that losses alone make one like it less than once in a hundred thousand.
void LinkState::settle_silence(Time now) {
  constexpr double kByChance = 1e-5, kFewestFrames = 20, kMostIntervals = 200;
  silent_intervals_ = kSilentIntervals;
  silence_due_ = now + std::chrono::minutes{15};
  if (direction(Direction::inbound).loss_source != LossSource::seq) return;
  const auto counts =
      direction(Direction::inbound).loss.sum(estimate::RollingCounts::Window::day, now);
  const double frames = static_cast<double>(counts.hits) + counts.misses;
  if (frames < kFewestFrames || counts.misses == 0) return;
  const double lost = std::min(0.99, counts.misses / frames);
  silent_intervals_ =
      std::clamp(std::log(kByChance) / std::log(lost), kSilentIntervals, kMostIntervals);
}

void LinkState::tick(Time now) {
  if (now >= silence_due_) settle_silence(now);
  for (DirectionState& state : directions_) state.tick(now);
  const Time hour = std::chrono::floor<std::chrono::hours>(now);
  if (hour == learned_at_) return;
  learned_at_ = hour;
  margins().learn(hour, last_report_.value_or(Time{}));
}

void LinkState::shift(Duration step) {
  for (DirectionState& state : directions_) state.shift(step);
  if (last_report_) *last_report_ += step;
  if (last_frame_) *last_frame_ += step;
  silence_due_ = {};
  if (foreign_counts_) foreign_counts_->shift(step);
}

// ---- what it says --------------------------------------------------------------------------

double LinkState::presumed_lost(Duration window, Time now) const {
  const auto usual = expect();
  if (!usual || !last_report_ || gap_unknown_ || usual->count() <= 0) return 0;
  if (!expect_ && interval_.observed() < kObservedForPresumption) return 0;
  const double interval_us = static_cast<double>(usual->count());
  const double quiet_us = static_cast<double>((now - *last_report_).count());
  if (quiet_us < kPresumeAfterIntervals * interval_us || quiet_us < kPresumeAfterUs) return 0;
  const double missing_us = std::min(quiet_us - interval_us, static_cast<double>(window.count()));
  return missing_us / interval_us;
}

std::optional<LinkState::Loss> LinkState::loss(Direction d, estimate::RollingCounts::Window window,
                                               Time now) {
  DirectionState& state = direction(d);
  if (state.loss_source == LossSource::none) return {};
  const auto counts = state.loss.sum(window, now);
  double lost = counts.misses;
  if (d == Direction::inbound && state.loss_source == LossSource::seq) {
    static constexpr std::array<Duration, 3> spans = {
        std::chrono::minutes{5}, std::chrono::hours{1}, std::chrono::hours{24}};
    lost += presumed_lost(spans[static_cast<std::size_t>(window)], now);
  }
  const double sent = lost + counts.hits;
  if (sent <= 0) return {};
  return Loss{lost / sent, sent, state.loss_source};
}

std::optional<double> LinkState::retry_ratio(Direction d, Time now) {
  if (direction(d).sent_total == 0) return {};  // the sender counts nothing
  constexpr double kFewestSent = 20;
  auto counts = direction(d).repeats.sum(estimate::RollingCounts::Window::hour, now);
  if (static_cast<double>(counts.hits) + counts.misses < kFewestSent)
    counts = direction(d).repeats.sum(estimate::RollingCounts::Window::day, now);
  const double sent = static_cast<double>(counts.hits) + counts.misses;
  if (sent <= 0) return {};
  return counts.misses / sent;
}

std::optional<double> LinkState::latency_s() const {
  if (latencies_.empty()) return {};
  std::array<float, kLatencies> held{};
  const std::size_t size = latencies_.size();
  for (std::size_t i = 0; i < size; ++i) held[i] = latencies_[i];
  const auto middle = held.begin() + static_cast<std::ptrdiff_t>(size / 2);
  std::nth_element(held.begin(), middle, held.begin() + static_cast<std::ptrdiff_t>(size));
  return *middle;
}

double LinkState::foreign_per_hour(Time now) {
  if (!foreign_counts_) return 0;
  return foreign_counts_->sum(estimate::RollingCounts::Window::hour, now).hits;
}

}  // namespace fadeward::link
