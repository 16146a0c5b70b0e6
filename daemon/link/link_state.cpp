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
constexpr double kBendDb = 3.0;        // so far below its ceiling an SNR begins to lag behind
/// Where one frame in a hundred still has so much margin, lost ones were not lost to the level.
constexpr double kClearOfThresholdDb = 3.0;
constexpr double kDeadDb = -3.0;  // of a channel on which nearly nothing arrives, at most
constexpr double kClearWithoutCountsDb = 1.0;
constexpr double kCrossing = 1.4;  // see estimate::fit_survivors: variance of a median by errors
constexpr double kMedianOfSample = 1.5708;  // pi / 2
constexpr double kBorrowedNoiseVariance = 0.08;
constexpr double kDeadChannelsVariance = 0.03;  // how many frames went to them is itself estimated
constexpr double kStepErrorDb = 0.065;          // what is left of readings in whole decibels
constexpr double kFadingVariance = 0.02;  // of an hour's median: each direction fades for itself
constexpr double kShapeVariance = 0.07;   // what a truncated sample says wrong every hour alike
constexpr Duration kLearnClearEvery = std::chrono::hours{4};
constexpr double kFewLost = 0.003;
constexpr std::uint32_t kFewestToLearn = 60;

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
/// The middle of all frames among those that are not at the bottom.
double quantile_beside(double bottom_share) {
  return std::clamp((0.5 - bottom_share) / (1 - bottom_share), 0.01, 0.5);
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
    levels.signal_dbm = *reading.snr_db < rules.snr_ceiling_db
                            ? total_dbm - excess_over_signal_db(*reading.snr_db)
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
  learn_margins(hour);
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
  if (direction(d).sent_total == 0) return {};   // the sender counts nothing
  constexpr double kFewestSent = 20;
  auto counts = direction(d).repeats.sum(estimate::RollingCounts::Window::hour, now);
  if (static_cast<double>(counts.hits) + counts.misses < kFewestSent)
    counts = direction(d).repeats.sum(estimate::RollingCounts::Window::day, now);
  const double sent = static_cast<double>(counts.hits) + counts.misses;
  if (sent <= 0) return {};
  return counts.misses / sent;
}

bool LinkState::losses_follow_level(Direction d) const {
  const auto low = direction(d).window.margin_quantile_db(0.01, false);
  return low && *low < kClearOfThresholdDb;
}

// ---- margin ---------------------------------------------------------------------------------

bool LinkState::counts_losses(Direction d) const {
  const LossSource source = direction(d).loss_source;
  return source == LossSource::seq || source == LossSource::counters;
}

/// Up to one in a hundred lost moves the median by less than its own uncertainty, and frames lost
/// while the weakest have margin are not missing among the low ones.
bool LinkState::needs_fit(Direction d) const {
  const FrameWindow& window = direction(d).window;
  if (counts_losses(d)) return window.lost() * 99 >= window.frames() && losses_follow_level(d);
  const auto low = window.margin_quantile_db(0.03, false);
  return low && *low < kClearWithoutCountsDb;
}

/// Share of the frames sent that was lost on channels where nearly none arrives: the lowest of all.
std::optional<double> LinkState::dead_share(Direction d) const {
  const DirectionState& state = direction(d);
  const FrameWindow& window = state.window;
  if (!counts_losses(d) || window.lost() * 49 < window.frames() || state.channels.size() == 0)
    return {};
  std::array<std::uint16_t, ChannelShares::kMost> heard{};
  window.visit([&](const FrameSample& sample) {
    if (sample.channel < heard.size()) ++heard[sample.channel];
  });
  const auto missing = state.channels.missing_on_dead(heard);
  if (!missing || *missing < 1) return {};
  const double lost = window.lost(), stands_for = static_cast<double>(window.frames()) /
                                                  static_cast<double>(window.samples());
  return std::min(*missing * stands_for, lost) / (lost + window.frames());
}

FitQuestion LinkState::own_question(Direction d) const {
  FitQuestion question;
  question.counted = counts_losses(d);
  question.weighted = d == Direction::outbound;
  const Direction other = d == Direction::inbound ? Direction::outbound : Direction::inbound;
  question.other = &direction(other).margin_fit;
  question.reading_sd_db = reading_sd_db(d);
  return question;
}

/// Error of one margin. The noise that is read beside each frame scatters as its reading does; an
/// SNR has a scatter of its own.
double LinkState::reading_sd_db(Direction d) const {
  const DirectionState& state = direction(d);
  const double noise_variance = state.window.noise_moments().variance_db2;
  if (state.noise_source == NoiseSource::idle)
    return std::sqrt(0.2 + 0.8 * std::clamp(noise_variance, 0.3, 1.4));
  return std::sqrt(0.08 + std::clamp(0.5 * noise_variance, 0.25, 1.0));
}

/// What a margin lies above the loss of the path.
double LinkState::path_offset_db(Direction d) const {
  return direction(d).power_dbm.value_or(0) - direction(d).window.noise_moments().mean_dbm -
         receiver(d).required_snr_db;
}

/// Where a direction does not know its losses, the other one does. `now`: a fit of the minute will
/// do.
FitQuestion LinkState::question(Direction d, std::optional<Time> now) {
  FitQuestion question = own_question(d);
  const Direction other = d == Direction::inbound ? Direction::outbound : Direction::inbound;
  DirectionState& state = direction(other);
  if (question.counted || !reciprocal_.known() || state.window.empty() || !counts_losses(other))
    return question;
  const double sign = d == Direction::outbound ? 1 : -1;
  double median_db = 0, variance = 0;
  if (needs_fit(other)) {
    const FitQuestion own = own_question(other);
    const auto fit = now ? state.margin_fit.recent(state.window, own, *now)
                         : state.margin_fit.fit(state.window, own);
    if (!fit) return question;
    median_db = fit->median_db;
    variance = fit->median_sd_db * fit->median_sd_db;
  } else {
    median_db = *state.window.margin_median_db();
  }
  question.median_db =
      median_db - path_offset_db(other) + path_offset_db(d) + sign * reciprocal_.difference_db();
  question.median_precision =
      1 / (variance + reciprocal_.variance() + kFadingVariance + kShapeVariance);
  return question;
}

/// How wide the levels spread, how many are lost whatever their level, and by what the two
/// directions differ: once an hour where frames are lost, less often where little can be learned.
void LinkState::learn_margins(Time hour) {
  const bool clear = !needs_fit(Direction::inbound) && !needs_fit(Direction::outbound);
  const bool rest = clear && hour.time_since_epoch() % kLearnClearEvery != Duration{};
  std::array<std::optional<double>, kDirections> path_db;
  double variance = 2 * kFadingVariance;
  for (const Direction d : {Direction::inbound, Direction::outbound}) {
    DirectionState& state = direction(d);
    const FrameWindow& window = state.window;
    if (window.frames() < kFewestToLearn || window.span(*last_report_) > FrameWindow::kSpan)
      continue;
    if (rest) {
      if (counts_losses(d) && window.lost() > 0)
        state.margin_fit.learn_collisions(window.frames(), window.lost());
      continue;
    }
    double median_db = *window.margin_median_db();
    if (needs_fit(d)) {
      const FitQuestion question = own_question(d);
      const auto fit = state.margin_fit.fit(window, question);
      if (!fit) continue;
      state.margin_fit.learn(*fit, window, question);
      median_db = fit->median_db;
      variance += fit->median_sd_db * fit->median_sd_db;
    } else {
      if (counts_losses(d)) state.margin_fit.learn_collisions(window.frames(), window.lost());
      state.margin_fit.learn_shape(window);
    }
    path_db[static_cast<std::size_t>(d)] = median_db - path_offset_db(d);
  }
  if (path_db[0] && path_db[1]) reciprocal_.add(*path_db[1] - *path_db[0], variance);
}

std::optional<double> LinkState::received_margin_db(Direction d, Time now) {
  FrameWindow& window = direction(d).window;
  window.expire(now);
  return window.margin_quantile_db(0.5, false);
}

std::optional<double> LinkState::margin_median_db(Direction d, Time now) {
  DirectionState& state = direction(d);
  state.window.expire(now);
  if (state.window.empty()) return {};
  const bool few = counts_losses(d) && state.window.lost() * 99 < state.window.frames();
  if (few || state.margin_fit.lately_clear(now)) return state.window.margin_quantile_db(0.5, false);
  if (!needs_fit(d)) {
    if (const auto dead = dead_share(d))
      return state.window.margin_quantile_db(quantile_beside(*dead), false);
    state.margin_fit.note_clear(now);
    return state.window.margin_quantile_db(0.5, false);
  }
  const auto fit = state.margin_fit.recent(state.window, question(d, now), now);
  return fit ? std::optional(fit->median_db) : std::nullopt;
}

std::optional<LinkState::Margin> LinkState::margin(Direction d, Time now) {
  DirectionState& state = direction(d);
  state.window.expire(now);
  if (state.window.empty()) return {};
  Margin out;
  if (needs_fit(d)) {
    const auto fit = state.margin_fit.fit(state.window, question(d, {}));
    if (!fit) return {};
    // Losses of both kinds at once are hard to tell apart: 0.84 of the truths lay within two
    // standard errors where they were, without this (known-truth trials).
    const double mixed = 1 + 2.2 * std::min(fit->collisions, fit->level_lost);
    out = {fit->median_db, fit->low_db, std::hypot(mixed * fit->median_sd_db, kStepErrorDb),
           fit->level_lost};
    if (const auto low = state.window.margin_quantile_db(0.01, false);
        low && fit->level_lost < kFewLost)
      out.low_db = *low;
    return out;
  }
  const auto dead = dead_share(d);
  out.too_weak = share_too_weak(d, *state.window.margin_median_db());
  if (dead) out.too_weak = *dead + (1 - *dead) * out.too_weak;
  out.median_db = dead ? *state.window.margin_quantile_db(quantile_beside(*dead), false)
                       : *state.window.margin_median_db();
  out.low_db = state.window.margin_quantile_db(0.01, false).value_or(out.median_db);
  if (dead && *dead > 0.01) out.low_db = std::min(out.low_db, kDeadDb);
  // Reading errors carry frames across the median, as many up as down but for chance.
  const double deviation = *state.window.margin_deviation_db();
  const double measured = std::max(1.0, static_cast<double>(state.window.samples()));
  const double n =
      std::max(measured, static_cast<double>(state.window.frames()) +
                             (counts_losses(d) ? static_cast<double>(state.window.lost()) : 0.0));
  const double variance =
      kCrossing * reading_sd_db(d) * deviation / measured +
      kMedianOfSample * std::max(0.0, 1 - measured / n) * deviation * deviation / measured;
  // Near the ceiling of the SNR the noise is borrowed from the weakest frames.
  const bool borrowed =
      state.noise_source == NoiseSource::snr &&
      out.median_db + receiver(d).required_snr_db > state.rules.snr_ceiling_db - kBendDb - 2;
  out.stderr_db =
      std::sqrt(variance + kStepErrorDb * kStepErrorDb + (borrowed ? kBorrowedNoiseVariance : 0) +
                (dead ? kDeadChannelsVariance : 0));
  return out;
}

/// Of the channels on which frames arrive. What arrives under the limit shows that the limit is a
/// lower one, as for a fit.
double LinkState::share_too_weak(Direction d, double median_db) const {
  constexpr double kReadBelowLimitDb = 2;
  const DirectionState& state = direction(d);
  const double limit_db = std::min(
      0.0, state.window.margin_quantile_db(0.05, false).value_or(0) + kReadBelowLimitDb);
  const double read_db = state.window.margin_deviation_db().value_or(0);
  const double own_db = std::sqrt(std::max(0.04, read_db * read_db -
                                                     reading_sd_db(d) * reading_sd_db(d)));
  return state.margin_fit.share_too_weak(median_db - limit_db, own_db);
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
