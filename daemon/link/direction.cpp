#include "fadeward/link/direction.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "fadeward/base/decibel.hpp"
#include "fadeward/estimate/rician_k.hpp"

namespace fadeward::link {

namespace {

constexpr std::size_t kMostClosed = 96;  // a day, should nobody fetch them
constexpr int kBlockLowestDb = -16;
constexpr double kUsualSpreadDb = 3.3;  // of levels within minutes: fading and hop channels

/// The share of frames that a normal distribution cut off at 0 has lost, told from the mean of
/// those that are left, in its deviations (worked by integration for means of the whole from 2.4
/// down).
double share_cut_off(double mean_left) {
  constexpr std::array<std::array<double, 2>, 9> kShares = {{{0.53, 0.841},
                                                             {0.64, 0.691},
                                                             {0.80, 0.5},
                                                             {1.01, 0.309},
                                                             {1.29, 0.159},
                                                             {1.64, 0.067},
                                                             {2.06, 0.023},
                                                             {2.52, 0.006},
                                                             {3.00, 0.001}}};
  if (mean_left <= kShares.front()[0]) return kShares.front()[1];
  for (std::size_t i = 1; i < kShares.size(); ++i) {
    const auto& [left, share] = kShares[i];
    const auto& [before_left, before_share] = kShares[i - 1];
    if (mean_left < left)
      return before_share +
             (share - before_share) * (mean_left - before_left) / (left - before_left);
  }
  return 0;
}

/// What the mean level of frames sent lies above that of those heard (negative), where some were
/// lost for want of level: they are the weakest of all, and without them a path that fades seems to
/// fade less than the other direction. Losses that the margin of those heard does not explain are
/// no such ones. `lost_share`: empty where losses are not known.
double without_survival_db(double mean_margin_db, std::optional<double> lost_share) {
  constexpr double kAllowed = 1.5, kSure = 0.8;  // neither spread nor limit is known exactly
  const double explained = share_cut_off(mean_margin_db / kUsualSpreadDb);
  const double share =
      lost_share ? std::min({*lost_share, kAllowed * explained, 0.9}) : kSure * explained;
  // Mean of a normal distribution below a cut that leaves so many: -0.5 to -1.2 deviations.
  const double lost_db = -kUsualSpreadDb * (0.40 + 0.92 * share);
  return share * (lost_db - mean_margin_db);
}

Time floor_to(Time at, Duration span) {
  const auto rest = at.time_since_epoch() % span;
  return at - (rest.count() < 0 ? rest + span : rest);
}

}  // namespace

DirectionState::DirectionState(bool keep_intervals) : interval(keep_intervals) {}

void DirectionState::open_bin(Time at) {
  bin.start = floor_to(at, kBinSpan);
  // What the window holds from before an early end is counted already.
  bin_since_ = bin_open() ? bin.start : at;
  bin_until_ = bin.start + kBinSpan;
  bin.upkeep = upkeep;
  bin.noise_source = noise_source;
  bin.loss_source = loss_source;
  bin_from_ = rate_from_ = frames_total;
  choose_rate();
}

/// The window still holds every frame of the quarter hour: its statistics are made in one go.
void DirectionState::fill_bin() {
  std::array<std::int16_t, FrameWindow::kMost + 1> margin_cdb, signal_cdbm, noise_cdbm;
  std::array<std::uint16_t, FrameWindow::kMost + 1> frames;
  std::array<std::uint8_t, FrameWindow::kMost + 1> by_channel;
  std::size_t count = 0;
  window.visit_since(bin_since_, [&](const FrameSample& sample) {
    margin_cdb[count] = sample.margin_cdb;
    signal_cdbm[count] = sample.signal_cdbm;
    noise_cdbm[count] = sample.noise_cdbm;
    frames[count] = sample.frames;
    by_channel[count++] = sample.channel;
  });
  const std::span weights(frames.data(), count);
  bin.margin.add_all({margin_cdb.data(), count}, weights);
  bin.signal.add_all({signal_cdbm.data(), count}, weights);
  bin.noise.add_all({noise_cdbm.data(), count}, weights);
  if (channels.size() == 0) return;
  for (std::size_t i = bin.channels.size(); i < channels.size(); ++i)
    bin.channels.push_back({.channel = static_cast<std::uint16_t>(i)});
  for (std::size_t i = 0; i < count; ++i) {
    if (by_channel[i] >= bin.channels.size()) continue;  // none was reported
    ChannelPart& part = bin.channels[by_channel[i]];
    ++part.frames;  // the window holds no more than its own size
    part.signal_sum_dbm += static_cast<float>(signal_cdbm[i]) * 0.01F;
    part.noise_sum_dbm += static_cast<float>(noise_cdbm[i]) * 0.01F;
  }
}

/// The margins of the quarter hour join those of its two hours, by whole decibels.
void DirectionState::fill_block() {
  advance_blocks(bin.start);
  std::array<std::uint16_t, 64>& block = blocks_[block_slot()].counts;
  bin.margin.visit([&](double level_db, std::uint32_t frames) {
    const int cell =
        std::clamp(static_cast<int>(std::floor(level_db + 0.5)) - kBlockLowestDb, 0, 63);
    std::uint16_t& count = block[static_cast<std::size_t>(cell)];
    count = static_cast<std::uint16_t>(std::min<unsigned>(0xffffU, unsigned{count} + frames));
  });
}

/// Frames are counted once, in frames_total; the bin's part is the difference.
void DirectionState::settle_counts() {
  bin.frames = static_cast<std::uint32_t>(frames_total - bin_from_);
  bin.rates[rate_].frames += static_cast<std::uint32_t>(frames_total - rate_from_);
  rate_from_ = frames_total;
}

/// What is kept calls the channels as the radio does, where it numbers them; frequencies stay
/// places in the order of first use.
void DirectionState::name_channels(Bin& kept) const {
  for (std::size_t i = 0; i < channels.size(); ++i) {
    const double key = channels.key(static_cast<std::uint8_t>(i));
    if (key < 0 || key > 65535 || key != std::floor(key)) return;
  }
  for (ChannelPart& part : kept.channels)
    if (part.channel < channels.size())
      part.channel =
          static_cast<std::uint16_t>(channels.key(static_cast<std::uint8_t>(part.channel)));
}

/// Ends the quarter hour: its counts go to whoever keeps bins.
void DirectionState::close_bin(Time now) {
  settle_counts();
  if (!bin.empty()) {
    fill_bin();
    fill_block();
    for (const ChannelPart& part : bin.channels)
      if (part.frames > 0 && part.channel < channels.size())
        channels.count(static_cast<std::uint8_t>(part.channel), part.frames);
    channels.settle();
    if (keep_closed && closed.size() < kMostClosed) {
      closed.push_back(bin);
      name_channels(closed.back());
    } else if (keep_closed)
      ++closed_dropped;
  }
  // Cleared in place: the channel list keeps its memory.
  auto parts = std::move(bin.channels);
  parts.clear();
  bin = Bin{};
  bin.channels = std::move(parts);
  open_bin(now);
}

void DirectionState::set_frames(const FrameSetting& setting) {
  settle_counts();
  setting_changed_ = setting_changed_ || setting.power_dbm != setting_.power_dbm ||
                     setting.noise_bandwidth_hz != setting_.noise_bandwidth_hz;
  setting_ = setting;
  choose_rate();
}

/// First come first kept; the last place collects the rest.
void DirectionState::choose_rate() {
  for (rate_ = 0; rate_ + 1 < bin.rates.size(); ++rate_) {
    const RateUse& use = bin.rates[rate_];
    if (use.frames == 0) break;
    if (use.spreading_factor == setting_.spreading_factor &&
        use.bandwidth_hz == static_cast<float>(setting_.bandwidth_hz) &&
        use.power_known == setting_.power_dbm.has_value() &&
        use.power_dbm == static_cast<float>(setting_.power_dbm.value_or(0)))
      return;
  }
  RateUse& use = bin.rates[rate_];
  if (use.frames > 0) return;
  use.spreading_factor = static_cast<std::uint8_t>(setting_.spreading_factor);
  use.bandwidth_hz = static_cast<float>(setting_.bandwidth_hz);
  use.power_known = setting_.power_dbm.has_value();
  use.power_dbm = static_cast<float>(setting_.power_dbm.value_or(0));
}

std::size_t DirectionState::block_slot() const {
  const std::int64_t block = block_start_.time_since_epoch() / kBlockSpan;
  return static_cast<std::size_t>((block % std::int64_t{kBlocks} + std::int64_t{kBlocks}) %
                                  std::int64_t{kBlocks});
}

void DirectionState::advance_blocks(Time at) {
  if (block_start_ == Time{} || at - block_start_ >= kBlockSpan * std::int64_t{kBlocks}) {
    blocks_.fill({});
    block_start_ = floor_to(at, kBlockSpan);
    return;
  }
  while (at - block_start_ >= kBlockSpan) {
    block_start_ += kBlockSpan;
    blocks_[block_slot()] = {};
  }
}

void DirectionState::measured(Time at, const Separated& levels, double required_snr_db,
                              std::optional<std::uint8_t> channel, std::uint8_t weight) {
  enter(at);
  if (setting_changed_) [[unlikely]] {
    setting_changed_ = false;
    taken_until_ = at;
  }
  const double margin_db = levels.signal_dbm - levels.noise_dbm - required_snr_db;
  FrameSample sample;
  // The ranges of the fields (base/field.cpp) keep all three within +-327 dB.
  sample.signal_cdbm = hundredths_in_range(levels.signal_dbm);
  sample.noise_cdbm = hundredths_in_range(levels.noise_dbm);
  sample.margin_cdb = hundredths_in_range(margin_db);
  if (weight > 0) sample.weight = weight;
  if (channel) {
    sample.channel = *channel;
    if (weight == 0) sample.weight = channels.weight(*channel);
  }
  window.add(at, sample, std::max(heard_since_, 1U), lost_since_);
  heard_since_ = lost_since_ = 0;
  noise_source = levels.source;
  ++frames_total;
  interval.add(sample.signal_cdbm, sample.noise_cdbm);
}

void DirectionState::counted(Time from, Time to, std::uint32_t heard, std::uint32_t lost,
                             LossSource source) {
  enter(to);
  loss_source = source;
  bin.loss_source = source;
  heard_since_ += heard;
  lost_since_ += lost;
  if (heard > 0 || lost == 0) loss.add(to, heard, 0);
  if (lost == 0) return;
  loss.add_misses_between(from, to, lost);
  lost_total += lost;
  bin.lost += lost;
  interval.add_lost(lost);
}

void DirectionState::disown_noise() {
  window.clear();
  blocks_.fill({});
  snr_noise_dbm.reset();
  snr_noise_frames = 0;
}

void DirectionState::one_lost_fewer(Time at) {
  if (lost_total > 0) --lost_total;
  if (bin.lost > 0) --bin.lost;
  interval.one_lost_fewer();
  if (lost_since_ > 0)
    --lost_since_;
  else
    window.one_lost_fewer();
  loss.take_back_miss(at);
}

void DirectionState::sent(Time at, std::uint32_t transmissions, std::uint32_t retries,
                          std::uint32_t failures) {
  enter(at);
  const std::uint32_t firsts = transmissions > retries ? transmissions - retries : 0;
  repeats.add(at, firsts, retries);
  retries_total += retries;
  sent_total += transmissions;
  bin.sent += transmissions;
  bin.retries += retries;
  bin.failures += failures;
}

void DirectionState::tick(Time now) {
  end_bin_before(now);
  window.expire(now);
}

void DirectionState::end_bin() {
  if (!bin_open()) return;
  close_bin(bin.start);
  bin.start = bin_since_ = Time{};
  bin_until_ = Time::min();
}

void DirectionState::drop_bin() {
  if (!bin_open()) return;
  settle_counts();
  if (keep_closed && !bin.empty()) ++closed_dropped;
  bin = Bin{};
  bin_from_ = rate_from_ = frames_total;
  bin_since_ = Time{};
  bin_until_ = Time::min();
}

void DirectionState::shift(Duration step) {
  window.shift(step);
  margin_fit.shift(step);
  loss.shift(step);
  repeats.shift(step);
  // To the nearest quarter: a second back must not make it the one before.
  const auto moved = [step](Time start) { return floor_to(start + step + kBinSpan / 2, kBinSpan); };
  if (bin_open()) {
    bin.start = moved(bin.start);
    bin_since_ += step;
    bin_until_ = bin.start + kBinSpan;
  }
  for (Bin& waiting : closed)
    if (!believable(waiting.start)) waiting.start = moved(waiting.start);
  snr_noise_at += step;
  taken_until_ += step;
  if (block_start_ == Time{}) return;
  const std::size_t old_slot = block_slot();
  block_start_ = floor_to(block_start_ + step, kBlockSpan);
  const std::size_t turn = (block_slot() + kBlocks - old_slot) % kBlocks;
  std::rotate(blocks_.begin(),
              blocks_.begin() + static_cast<std::ptrdiff_t>((kBlocks - turn) % kBlocks),
              blocks_.end());
}

BlockSide DirectionState::take_block(Time now) {
  constexpr float kFarOff = 5;  // dB from the middle: a deep fade counts as one, not as many
  struct Level {
    float signal_dbm, noise_dbm;
    std::uint8_t channel;
  };
  BlockSide out;
  std::array<Level, FrameWindow::kMost + 1> levels;
  std::array<float, FrameWindow::kMost + 1> signals_dbm;
  std::size_t count = 0;
  float noise_sum = 0, quiet_sum = 0, margin_sum = 0;
  std::size_t quiet = 0;  // frames on channels that do not stand out
  window.visit_since(taken_until_, [&](const FrameSample& sample) {
    const Level level{static_cast<float>(sample.signal_cdbm) / 100,
                      static_cast<float>(sample.noise_cdbm) / 100, sample.channel};
    levels[count] = level;
    signals_dbm[count++] = level.signal_dbm - channel_levels.signal_offset_db(level.channel);
    const float noise_dbm = level.noise_dbm - channel_levels.noise_offset_db(level.channel);
    noise_sum += noise_dbm;
    if (!channel_levels.stands_out(level.channel)) {
      quiet_sum += noise_dbm;
      ++quiet;
    }
    margin_sum += static_cast<float>(sample.margin_cdb) / 100;
    out.heard += sample.frames;
    out.lost += sample.lost;
  });
  taken_until_ = now;
  out.frames = static_cast<std::uint32_t>(count);
  out.loss_known = loss_source == LossSource::seq || loss_source == LossSource::counters;
  out.noise_known = noise_source == NoiseSource::idle || noise_source == NoiseSource::snr;
  if (count == 0) return out;
  const auto frames = static_cast<float>(count);
  const auto end = signals_dbm.begin() + static_cast<std::ptrdiff_t>(count);
  const auto middle = signals_dbm.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(signals_dbm.begin(), middle, end);
  const float lowest = *middle - kFarOff, highest = *middle + kFarOff;
  float sum = 0;
  for (auto it = signals_dbm.begin(); it != end; ++it)
    sum += std::min(std::max(*it, lowest), highest);
  const float mean_dbm = sum / frames;
  const float measured_dbm =
      2 * quiet >= count ? quiet_sum / static_cast<float>(quiet) : noise_sum / frames;
  const double width_hz =
      setting_.noise_bandwidth_hz > 0 ? setting_.noise_bandwidth_hz : kNoiseBandwidthHz;
  const auto wider_db = static_cast<float>(db_from_ratio(width_hz / kNoiseBandwidthHz));
  out.noise_dbm = measured_dbm - wider_db;
  out.margin_db = margin_sum / frames;
  out.signal_db = mean_dbm - static_cast<float>(setting_.power_dbm.value_or(0));
  const auto lost_share =
      out.loss_known
          ? std::optional(static_cast<double>(out.lost) / static_cast<double>(out.heard + out.lost))
          : std::nullopt;
  if (out.noise_known)
    out.signal_db +=
        static_cast<float>(without_survival_db(static_cast<double>(out.margin_db), lost_share));
  // A block of few frames is no measure for the channels of these very frames.
  constexpr float kSlowFrames = 50;
  const float share = slow_known_ ? std::min(1.0F, frames / kSlowFrames) : 1.0F;
  slow_signal_dbm_ += share * (mean_dbm - slow_signal_dbm_);
  slow_noise_dbm_ += share * (out.noise_dbm - slow_noise_dbm_);
  slow_known_ = true;
  if (channels.size() <= 1) return out;
  const bool few = count < 8;
  const float signal_dbm = few ? slow_signal_dbm_ : mean_dbm,
              noise_dbm = (few ? slow_noise_dbm_ : out.noise_dbm) + wider_db;
  for (std::size_t i = 0; i < count; ++i)
    channel_levels.add(levels[i].channel, levels[i].signal_dbm - signal_dbm,
                       levels[i].noise_dbm - noise_dbm);
  return out;
}

std::optional<double> DirectionState::rician_k_db() const {
  constexpr std::size_t kFewest = 100;
  constexpr double kNoFadingDb = 30;
  double count = 0, sum = 0, squares = 0;
  window.visit([&](const FrameSample& sample) {
    // Only ratios count: -100 dBm stands for one.
    const double level_db = (sample.signal_cdbm + 10000) / 100.0 -
                            static_cast<double>(channel_levels.signal_offset_db(sample.channel));
    const double power = ratio_from_db(level_db);
    count += 1;
    sum += power;
    squares += power * power;
  });
  if (count < kFewest) return {};
  const double mean = sum / count;
  const auto k = estimate::rician_k(mean, squares / count - mean * mean);
  if (!k || *k <= 0) return {};
  const double k_db = db_from_ratio(*k);
  return k_db > kNoFadingDb ? std::nullopt : std::optional(k_db);
}

std::optional<double> DirectionState::day_margin_db(Time now) const {
  std::array<std::uint32_t, 64> sum{};
  std::uint32_t total = 0;
  for (std::size_t back = 0; back < kBlocks; ++back) {
    const Time start = block_start_ - kBlockSpan * static_cast<std::int64_t>(back);
    if (now - start > std::chrono::hours{24} + kBlockSpan) break;
    const Block& block = blocks_[(block_slot() + kBlocks - back) % kBlocks];
    for (std::size_t i = 0; i < sum.size(); ++i) {
      sum[i] += block.counts[i];
      total += block.counts[i];
    }
  }
  if (total == 0) return {};
  const double wanted = total / 2.0;
  double below = 0;
  for (std::size_t i = 0; i < sum.size(); ++i) {
    if (sum[i] == 0) continue;
    if (below + sum[i] >= wanted)
      return kBlockLowestDb - 0.5 + static_cast<double>(i) + (wanted - below) / sum[i];
    below += sum[i];
  }
  return {};
}

}  // namespace fadeward::link
