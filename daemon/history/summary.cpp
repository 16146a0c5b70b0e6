#include "fadeward/history/summary.hpp"

#include <algorithm>

namespace fadeward::history {

void Summary::clear() {
  start = {};
  span = {};
  quarters = upkeep_quarters = 0;
  frames = lost = sent = retries = failures = 0;
  noise_source = NoiseSource::none;
  loss_source = LossSource::none;
  margin.clear();
  signal.clear();
  noise.clear();
  rates.clear();
  channels.clear();
}

void Summary::add_channel(const ChannelTotal& more) {
  if (more.frames == 0) return;
  const auto at = std::ranges::lower_bound(channels, more.channel, {}, &ChannelTotal::channel);
  if (at == channels.end() || at->channel != more.channel) {
    channels.insert(at, more);
    return;
  }
  at->frames += more.frames;
  at->signal_sum_dbm += more.signal_sum_dbm;
  at->noise_sum_dbm += more.noise_sum_dbm;
}

void Summary::add_rate(const RateTotal& more) {
  if (more.frames == 0) return;
  for (RateTotal& rate : rates)
    if (same_setting(rate, more)) {
      rate.frames += more.frames;
      return;
    }
  if (rates.size() < kMostRates)
    rates.push_back(more);
  else
    rates.back().frames += more.frames;
}

void Summary::merge(const Bin& bin) {
  if (bin.empty()) return;
  ++quarters;
  if (bin.upkeep) ++upkeep_quarters;
  frames += bin.frames;
  lost += bin.lost;
  sent += bin.sent;
  retries += bin.retries;
  failures += bin.failures;
  noise_source = bin.noise_source;
  loss_source = bin.loss_source;
  margin.merge(bin.margin);
  signal.merge(bin.signal);
  noise.merge(bin.noise);
  for (const RateUse& use : bin.rates)
    add_rate({use.power_dbm, use.power_known, use.spreading_factor, use.bandwidth_hz, use.frames});
  for (const ChannelPart& part : bin.channels)
    add_channel(
        {part.channel, part.frames, double{part.signal_sum_dbm}, double{part.noise_sum_dbm}});
}

void Summary::merge(const Summary& other) {
  if (!other.empty()) {
    noise_source = other.noise_source;
    loss_source = other.loss_source;
  }
  quarters += other.quarters;
  upkeep_quarters += other.upkeep_quarters;
  frames += other.frames;
  lost += other.lost;
  sent += other.sent;
  retries += other.retries;
  failures += other.failures;
  margin.merge(other.margin);
  signal.merge(other.signal);
  noise.merge(other.noise);
  for (const RateTotal& rate : other.rates) add_rate(rate);
  for (const ChannelTotal& channel : other.channels) add_channel(channel);
}

std::optional<double> Summary::loss_ratio() const {
  if (loss_source == LossSource::none) return {};
  if (loss_source == LossSource::retries) return retry_ratio();
  const std::uint64_t all = frames + lost;
  if (all == 0) return {};
  return static_cast<double>(lost) / static_cast<double>(all);
}

std::optional<double> Summary::retry_ratio() const {
  if (sent == 0) return {};
  return std::min(1.0, static_cast<double>(retries) / static_cast<double>(sent));
}

}  // namespace fadeward::history
