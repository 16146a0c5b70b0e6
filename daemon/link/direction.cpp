#include "fadeward/link/direction.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/decibel.hpp"

namespace fadeward::link {

namespace {

constexpr std::size_t kMostClosed = 96;   // a day, should nobody fetch them
constexpr int kBlockLowestDb = -16;

Time floor_to(Time at, Duration span) {
  const auto rest = at.time_since_epoch() % span;
  return at - (rest.count() < 0 ? rest + span : rest);
}

}  // namespace

DirectionState::DirectionState(bool keep_intervals)
    : interval(keep_intervals ? std::make_unique<IntervalKeeper>() : nullptr) {}

void DirectionState::open_bin(Time at) {
  bin.start = floor_to(at, kBinSpan);
  bin.upkeep = upkeep;
}

/// Ends the quarter hour: its medians move the references, its counts go to whoever keeps bins.
void DirectionState::close_bin(Time now) {
  if (!bin.empty()) {
    if (!bin.upkeep && bin.frames > 0) {
      signal_reference.add_quarter(*bin.signal.quantile_db(0.5));
      if (const auto noise = bin.noise.quantile_db(0.5)) noise_reference.add_quarter(*noise);
    }
    channels.settle();
    if (keep_closed && closed.size() < kMostClosed) closed.push_back(bin);
  }
  // Cleared in place: the channel list keeps its memory.
  auto parts = std::move(bin.channels);
  parts.clear();
  bin = Bin{};
  bin.channels = std::move(parts);
  open_bin(now);
}

void DirectionState::note_rate(const FrameSetting& setting) {
  for (RateUse& use : bin.rates) {
    const bool same = use.spreading_factor == setting.spreading_factor &&
                      use.bandwidth_hz == static_cast<float>(setting.bandwidth_hz) &&
                      use.power_known == setting.power_dbm.has_value() &&
                      (!setting.power_dbm || use.power_dbm == static_cast<float>(*setting.power_dbm));
    const bool last = &use == &bin.rates.back();
    if (use.frames == 0) {
      use.spreading_factor = static_cast<std::uint8_t>(setting.spreading_factor);
      use.bandwidth_hz = static_cast<float>(setting.bandwidth_hz);
      use.power_known = setting.power_dbm.has_value();
      use.power_dbm = static_cast<float>(setting.power_dbm.value_or(0));
    } else if (!same && !last) {
      continue;
    }
    ++use.frames;
    return;
  }
}

void DirectionState::note_channel(std::uint8_t channel, const Separated& levels) {
  if (channel >= bin.channels.size()) bin.channels.resize(std::size_t{channel} + 1);
  ChannelPart& part = bin.channels[channel];
  part.channel = channel;
  if (part.frames == UINT16_MAX) return;
  ++part.frames;
  part.signal_sum_dbm += static_cast<float>(levels.signal_dbm);
  part.noise_sum_dbm += static_cast<float>(levels.noise_dbm);
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
                              std::optional<std::uint8_t> channel, const FrameSetting& setting) {
  if (at - bin.start >= kBinSpan || bin.start == Time{}) close_bin(at);
  const double margin_db = levels.signal_dbm - levels.noise_dbm - required_snr_db;
  std::uint8_t weight = FrameWindow::kFullWeight;
  if (channel) {
    weight = channels.count(*channel);
    note_channel(*channel, levels);
  }
  window.add(at, levels.signal_dbm, levels.noise_dbm, margin_db, std::max(heard_since_, 1U),
             lost_since_, channel.value_or(0), weight);
  heard_since_ = lost_since_ = 0;
  bin.margin.add(margin_db);
  bin.signal.add(levels.signal_dbm);
  bin.noise.add(levels.noise_dbm);
  ++bin.frames;
  bin.noise_source = noise_source = levels.source;
  note_rate(setting);
  if (setting.power_dbm) power_dbm = setting.power_dbm;
  advance_blocks(at);
  if (at >= block_start_) {
    const int cell = static_cast<int>(std::floor(margin_db + 0.5)) - kBlockLowestDb;
    std::uint16_t& count = blocks_[block_slot()].counts[static_cast<std::size_t>(std::clamp(cell, 0, 63))];
    if (count < UINT16_MAX) ++count;
  }
  ++frames_total;
  if (!interval) return;
  ++interval->frames;
  interval->signal.add(levels.signal_dbm);
  interval->noise.add(levels.noise_dbm);
}

void DirectionState::counted(Time from, Time to, std::uint32_t heard, std::uint32_t lost,
                             LossSource source) {
  loss_source = source;
  bin.loss_source = source;
  heard_since_ += heard;
  lost_since_ += lost;
  if (heard > 0 || lost == 0) loss.add(to, heard, 0);
  if (lost == 0) return;
  loss.add_misses_between(from, to, lost);
  lost_total += lost;
  bin.lost += lost;
  if (interval) interval->lost += lost;
}

void DirectionState::disown_noise() {
  window.clear();
  blocks_.fill({});
  bin.margin.clear();
  bin.noise.clear();
  noise_reference = {};
  snr_noise_dbm.reset();
  snr_noise_frames = 0;
}

void DirectionState::one_lost_fewer(Time at) {
  if (lost_total > 0) --lost_total;
  if (bin.lost > 0) --bin.lost;
  if (interval && interval->lost > 0) --interval->lost;
  if (lost_since_ > 0)
    --lost_since_;
  else
    window.one_lost_fewer();
  loss.take_back_miss(at);
}

void DirectionState::sent(Time at, std::uint32_t transmissions, std::uint32_t retries,
                          std::uint32_t failures) {
  const std::uint32_t firsts = transmissions > retries ? transmissions - retries : 0;
  repeats.add(at, firsts, retries);
  retries_total += retries;
  bin.sent += transmissions;
  bin.retries += retries;
  bin.failures += failures;
}

void DirectionState::tick(Time now) {
  if (bin.start != Time{} && now - bin.start >= kBinSpan) close_bin(now);
  window.expire(now);
}

void DirectionState::shift(Duration step) {
  window.shift(step);
  loss.shift(step);
  repeats.shift(step);
  if (bin.start != Time{}) bin.start = floor_to(bin.start + step, kBinSpan);
  snr_noise_at += step;
  if (block_start_ == Time{}) return;
  const std::size_t old_slot = block_slot();
  block_start_ = floor_to(block_start_ + step, kBlockSpan);
  const std::size_t turn = (block_slot() + kBlocks - old_slot) % kBlocks;
  std::rotate(blocks_.begin(), blocks_.begin() + static_cast<std::ptrdiff_t>((kBlocks - turn) % kBlocks),
              blocks_.end());
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
