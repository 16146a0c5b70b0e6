#include "fadeward/history/channel_code.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <span>

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

namespace {

/// Codes of one kind of number, in stretches: `take(first, values)` gets a span of bytes or of words
/// for the channels from `first` on.
template <class Take>
void each_stretch(BitReader& bits, std::size_t size, Take take) {
  constexpr std::size_t kStretch = 64;
  const int k = static_cast<int>(bits.bits(3));
  for (std::size_t at = 0; at < size; at += kStretch) {
    const std::size_t count = std::min(kStretch, size - at);
    const BitReader begin = bits;
    std::array<std::uint8_t, kStretch + BitReader::kByteRoom> bytes;
    if (bits.golomb_bytes(bytes.data(), count, k)) {
      take(at, std::span<const std::uint8_t>(bytes.data(), count));
      continue;
    }
    bits = begin;
    std::array<std::uint64_t, kStretch> words;
    bits.golombs(words.data(), count, k);
    take(at, std::span<const std::uint64_t>(words.data(), count));
  }
}

/// Level sums from means in steps; false: a mean is beyond what there is.
template <double ChannelTotal::*kSum>
bool get_sums(BitReader& bits, std::vector<ChannelTotal>& channels, std::int64_t mean) {
  double farthest = 0;
  const auto base = static_cast<double>(mean);
  each_stretch(bits, channels.size(), [&](std::size_t first, auto values) {
    ChannelTotal* channel = channels.data() + first;
    for (const auto value : values) {
      const double steps = base + static_cast<double>(unzigzag(value));
      farthest = std::max(farthest, std::abs(steps));
      // Signed numbers are the ones that processors turn into floating point at once.
      const auto frames = static_cast<std::int64_t>(channel->frames);
      channel->*kSum = steps / kMeanSteps * static_cast<double>(frames);
      ++channel;
    }
  });
  return farthest <= kFarthestDb * kMeanSteps;
}

}  // namespace

bool get_channels(BitReader& bits, std::vector<ChannelTotal>& channels) {
  const std::uint64_t size = bits.golomb(4);
  if (size == 0 || size > kMostChannels) {
    channels.clear();
    return size == 0 && bits.ok();
  }
  channels.resize(size);  // all of each is written below
  const bool dense = bits.flag();
  std::uint64_t next = 0;
  for (ChannelTotal& channel : channels) {
    if (!dense) next += bits.golomb(0);
    if (next > 0xffff) return false;
    channel.channel = static_cast<std::uint16_t>(next++);
  }
  const std::int64_t signal_mean = unzigzag(bits.golomb(8));
  const std::int64_t noise_mean = unzigzag(bits.golomb(8));
  bool sound = true;
  each_stretch(bits, size, [&](std::size_t first, auto values) {
    ChannelTotal* channel = channels.data() + first;
    for (const std::uint64_t value : values) {
      channel++->frames = value;
      sound &= value - 1 < kMostFrames;
    }
  });
  if (!sound) return false;
  return get_sums<&ChannelTotal::signal_sum_dbm>(bits, channels, signal_mean) &&
         get_sums<&ChannelTotal::noise_sum_dbm>(bits, channels, noise_mean) && bits.ok();
}

}  // namespace fadeward::history
