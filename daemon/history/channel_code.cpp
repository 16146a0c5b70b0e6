#include "fadeward/history/channel_code.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace fadeward::history {

namespace {

constexpr std::size_t kMostChannels = 65536;
constexpr double kMeanSteps = 4;  // per decibel, of a channel's mean levels
constexpr double kFarthestDb = 4000;
constexpr std::uint64_t kMostFrames = std::uint64_t{1} << 48;  // of a channel

}  // namespace

void put_channels(BitWriter& bits, const std::vector<ChannelTotal>& channels) {
  bits.golomb(channels.size(), 4);
  if (channels.empty()) return;
  std::vector<std::uint64_t> gaps, frames, signals, noises;
  std::vector<std::int64_t> signal, noise;
  std::int64_t signal_sum = 0, noise_sum = 0, next = 0;
  for (const ChannelTotal& channel : channels) {
    const auto count = static_cast<double>(channel.frames);
    gaps.push_back(static_cast<std::uint64_t>(channel.channel - next));
    next = channel.channel + 1;
    frames.push_back(channel.frames);
    signal.push_back(std::llround(channel.signal_sum_dbm / count * kMeanSteps));
    noise.push_back(std::llround(channel.noise_sum_dbm / count * kMeanSteps));
    signal_sum += signal.back();
    noise_sum += noise.back();
  }
  const auto size = static_cast<std::int64_t>(channels.size());
  const std::int64_t signal_mean = signal_sum / size, noise_mean = noise_sum / size;
  for (std::size_t i = 0; i < channels.size(); ++i) {
    signals.push_back(zigzag(signal[i] - signal_mean));
    noises.push_back(zigzag(noise[i] - noise_mean));
  }
  const bool dense = next == size;
  bits.flag(dense);
  if (!dense)
    for (const std::uint64_t gap : gaps) bits.golomb(gap, 0);
  bits.golomb(zigzag(signal_mean), 8);
  bits.golomb(zigzag(noise_mean), 8);
  for (const auto* values : {&frames, &signals, &noises}) {
    const int k = best_order(*values);
    bits.bits(static_cast<unsigned>(k), 3);
    for (const std::uint64_t value : *values) bits.golomb(value, k);
  }
}

bool get_channels(BitReader& bits, std::vector<ChannelTotal>& channels) {
  channels.clear();
  const std::uint64_t size = bits.golomb(4);
  if (size == 0 || size > kMostChannels) return size == 0 && bits.ok();
  channels.resize(size);
  const bool dense = bits.flag();
  std::uint64_t next = 0;
  for (ChannelTotal& channel : channels) {
    if (!dense) next += bits.golomb(0);
    if (next > 0xffff) return false;
    channel.channel = static_cast<std::uint16_t>(next++);
  }
  const std::int64_t signal_mean = unzigzag(bits.golomb(8)), noise_mean = unzigzag(bits.golomb(8));
  bool sound = true;
  // In stretches: the codes of one kind of number follow each other.
  const auto run = [&](auto take) {
    const int k = static_cast<int>(bits.bits(3));
    std::array<std::uint64_t, 64> values{};
    BitReader own = bits;
    for (std::size_t at = 0; at < size; at += values.size()) {
      const std::size_t count = std::min(values.size(), static_cast<std::size_t>(size) - at);
      own.golombs(values.data(), count, k);
      for (std::size_t i = 0; i < count; ++i) take(channels[at + i], values[i]);
    }
    bits = own;
  };
  run([&](ChannelTotal& channel, std::uint64_t value) {
    channel.frames = value;
    sound = sound && value > 0 && value <= kMostFrames;
  });
  const auto sum = [&](std::int64_t mean, std::uint64_t value, std::uint64_t frames) {
    const double steps = static_cast<double>(mean) + static_cast<double>(unzigzag(value));
    sound = sound && std::abs(steps) <= kFarthestDb * kMeanSteps;
    return steps / kMeanSteps * static_cast<double>(frames);
  };
  run([&](ChannelTotal& channel, std::uint64_t value) {
    channel.signal_sum_dbm = sum(signal_mean, value, channel.frames);
  });
  run([&](ChannelTotal& channel, std::uint64_t value) {
    channel.noise_sum_dbm = sum(noise_mean, value, channel.frames);
  });
  return sound && bits.ok();
}

}  // namespace fadeward::history
