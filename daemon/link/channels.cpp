#include "fadeward/link/channels.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

namespace {
constexpr float kForgetPerQuarter = 0.99F;    // about a day
constexpr float kFewestPerChannel = 4;
}  // namespace

std::uint8_t ChannelShares::index_of(double channel_or_hz) {
  // Channel numbers are mostly the indices themselves or come in the order of their first use.
  for (std::size_t i = 0; i < keys_.size(); ++i)
    if (keys_[i] == channel_or_hz) return static_cast<std::uint8_t>(i);
  if (keys_.size() == kMost) return static_cast<std::uint8_t>(kMost - 1);
  keys_.push_back(channel_or_hz);
  frames_.push_back(0);
  weights_.push_back(16);
  return static_cast<std::uint8_t>(keys_.size() - 1);
}

std::uint8_t ChannelShares::count(std::uint8_t index) {
  frames_[index] += 1;
  return weights_[index];
}

void ChannelShares::settle() {
  float total = 0;
  for (float& frames : frames_) {
    frames *= kForgetPerQuarter;
    total += frames;
  }
  const auto channels = static_cast<float>(keys_.size());
  if (channels < 2 || total < kFewestPerChannel * channels) return;
  for (std::size_t i = 0; i < keys_.size(); ++i) {
    const float fair = total / channels;
    const float weight = 16 * fair / std::max(frames_[i], fair / 4);
    weights_[i] = static_cast<std::uint8_t>(std::clamp(std::round(weight), 4.0F, 64.0F));
  }
}

}  // namespace fadeward::link
