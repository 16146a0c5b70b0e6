// Bins as a link makes them: fading, rain, losses, hop channels. Seeded.
#pragma once

#include <algorithm>
#include <cmath>
#include <random>

#include "fadeward/base/bin.hpp"

namespace fadeward::test {

inline constexpr Time at(std::int64_t unix_s) { return Time{std::chrono::seconds{unix_s}}; }
inline constexpr std::int64_t kApril2031 = 1932768000;  // 2031-04-01T00:00:00Z (date -u -d)

/// Log-normal fading of 3.5 dB around a level that wanders, noise of 1 dB, levels in steps of half
/// a decibel, some frames lost.
class BinMaker {
 public:
  explicit BinMaker(std::uint32_t seed, int channels = 0) : random_(seed), channels_(channels) {}

  Bin make(Time start, int frames = 90) {
    Bin bin;
    bin.start = start;
    level_ += 0.2 * normal_(random_);
    level_ = std::min(-85.0, std::max(-115.0, level_));
    for (int i = 0; i < frames; ++i) {
      if (random_() % 64 == 0) {
        ++bin.lost;
        continue;
      }
      ++bin.frames;
      const auto channel = static_cast<std::uint16_t>(
          channels_ > 0 ? random_() % static_cast<unsigned>(channels_) : 0);
      const double offset = 3 * std::sin(channel * 1.7);
      const double signal = std::round(2 * (level_ + offset + 3.5 * normal_(random_))) / 2 -
                            10 * std::log10(1 + std::pow(10, -1.2));
      const double noise = std::round(2 * (-117 + normal_(random_))) / 2;
      bin.signal.add(signal);
      bin.noise.add(noise);
      bin.margin.add(signal - noise + 7.5);
      if (channels_ == 0) continue;
      if (bin.channels.size() <= channel) bin.channels.resize(channel + std::size_t{1});
      ChannelPart& part = bin.channels[channel];
      part.channel = channel;
      ++part.frames;
      part.signal_sum_dbm += static_cast<float>(signal);
      part.noise_sum_dbm += static_cast<float>(noise);
    }
    bin.sent = bin.frames + bin.lost;
    bin.retries = bin.lost;
    bin.noise_source = NoiseSource::idle;
    bin.loss_source = LossSource::seq;
    bin.rates[0] = {14, true, 7, 125000, bin.frames};
    return bin;
  }

 private:
  std::mt19937 random_;
  std::normal_distribution<double> normal_;
  int channels_;
  double level_ = -100;
};

}  // namespace fadeward::test
