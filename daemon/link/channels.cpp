#include "fadeward/link/channels.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

namespace {
constexpr float kForgetPerQuarter = 0.99F;    // about a day
constexpr float kFewestPerChannel = 4;
constexpr float kChance = 24;   // frames: fewer differ by chance where hops are drawn at random
constexpr std::size_t kFewestChannels = 8;
}  // namespace

/// Channel numbers are mostly small and whole: those are found without a search.
void ChannelShares::note_number(double channel, std::size_t index) {
  if (channel >= 0 && channel < static_cast<double>(kMost) && channel == std::floor(channel))
    places_[static_cast<std::size_t>(channel)].index_after = static_cast<std::uint8_t>(index + 1);
}

std::uint8_t ChannelShares::index_of(double channel_or_hz) {
  if (channel_or_hz >= 0 && channel_or_hz < static_cast<double>(kMost)) [[likely]] {
    const int number = static_cast<int>(channel_or_hz);
    const std::uint8_t index_after = places_[static_cast<std::size_t>(number)].index_after;
    if (index_after != 0 && number == channel_or_hz) [[likely]]
      return static_cast<std::uint8_t>(index_after - 1);
  }
  for (std::size_t i = 0; i < keys_.size(); ++i)
    if (keys_[i] == channel_or_hz) return static_cast<std::uint8_t>(i);
  if (keys_.size() == kMost) return static_cast<std::uint8_t>(kMost - 1);
  note_number(channel_or_hz, keys_.size());
  keys_.push_back(channel_or_hz);
  frames_.push_back(0);
  return static_cast<std::uint8_t>(keys_.size() - 1);
}

std::optional<double> ChannelShares::missing_on_dead(const std::array<std::uint16_t, kMost>& heard) const {
  if (keys_.size() < kFewestChannels) return {};
  std::array<std::uint16_t, kMost> sorted = heard;
  const auto end = sorted.begin() + static_cast<std::ptrdiff_t>(keys_.size());
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(keys_.size() / 2);
  std::nth_element(sorted.begin(), middle, end);
  if (*middle < kFewestPerChannel) return {};
  double alive_frames = 0, alive = 0, dead_frames = 0, dead = 0;
  for (std::size_t i = 0; i < keys_.size(); ++i) {
    if (4 * heard[i] > *middle) {
      alive_frames += heard[i];
      alive += 1;
    } else if (frames_[i] >= 1) {
      dead_frames += heard[i];
      dead += 1;
    }
  }
  if (alive == 0) return {};
  return std::max(0.0, dead * alive_frames / alive - dead_frames);
}

void ChannelShares::settle() {
  for (float& frames : frames_) frames *= kForgetPerQuarter;
  weigh();
}

void ChannelShares::weigh() {
  float total = 0;
  for (const float frames : frames_) total += frames;
  const auto channels = static_cast<float>(keys_.size());
  if (channels < 2 || total < kFewestPerChannel * channels) return;
  const float fair = total / channels;
  for (std::size_t i = 0; i < frames_.size(); ++i) {
    const float weight = 16 * (fair + kChance) / (frames_[i] + kChance);
    places_[i].weight = static_cast<std::uint8_t>(std::clamp(std::round(weight), 4.0F, 64.0F));
  }
}

}  // namespace fadeward::link
