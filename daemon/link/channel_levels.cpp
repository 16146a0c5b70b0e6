#include "fadeward/link/channel_levels.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace fadeward::link {

namespace {

constexpr float kSlowest =
    1.0F / 300;                    // of a channel's offsets: a day and a half at one visit in 8 min
constexpr float kFast = 1.0F / 6;  // of its noise now
constexpr float kMostPull = 6;     // dB, one frame
constexpr float kStandsOutDb = 1.2F;  // with six visits and 1 dB of reading error: over four sigma
constexpr float kLastingDb = 2.4F;

template <class Get>
float median(std::size_t count, Get get) {
  std::array<float, 128> values{};
  for (std::size_t i = 0; i < count; ++i) values[i] = get(i);
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(values.begin(), middle, values.begin() + static_cast<std::ptrdiff_t>(count));
  return *middle;
}

}  // namespace

void ChannelLevels::add(std::size_t index, float signal_above_mean_db, float noise_above_mean_db) {
  if (index >= kMost) return;
  if (index >= channels_.size()) channels_.resize(index + 1);
  Channel& channel = channels_[index];
  if (channel.visits < UINT16_MAX) ++channel.visits;
  const float young = 1.0F / static_cast<float>(channel.visits);
  channel.noise_now_db += std::max(kFast, young) * (noise_above_mean_db - channel.noise_now_db);
  const float gain = std::max(kSlowest, young);
  channel.signal_db +=
      gain * std::clamp(signal_above_mean_db - channel.signal_db, -kMostPull, kMostPull);
  if (stands_out(index)) return;
  channel.noise_db +=
      gain * std::clamp(noise_above_mean_db - channel.noise_db, -kMostPull, kMostPull);
}

ChannelLevels::Contrast ChannelLevels::contrast() const {
  Contrast out;
  std::array<const Channel*, kMost> known{};
  for (const Channel& channel : channels_)
    if (channel.visits >= 2 * kFewestVisits) known[out.known++] = &channel;
  if (out.known < 4) return out;
  const float rise =
      median(out.known, [&](std::size_t i) { return known[i]->noise_now_db - known[i]->noise_db; });
  const float usual =
      median(out.known, [&](std::size_t i) { return known[i]->noise_db - known[i]->accepted_db; });
  std::uint32_t risen = 0, always = 0;
  double risen_sum = 0, always_sum = 0;
  for (std::uint32_t i = 0; i < out.known; ++i) {
    const float by = known[i]->noise_now_db - known[i]->noise_db - rise;
    const float over = known[i]->noise_db - known[i]->accepted_db - usual;
    if (by > kStandsOutDb) {
      ++risen;
      risen_sum += by;
    }
    if (over > kLastingDb) {
      ++always;
      always_sum += over;
    }
  }
  // One noisy reading in a hundred channels is nothing: several, or one by much.
  const bool some =
      risen >= 3 || (risen >= 1 && risen_sum / risen > 2 * kStandsOutDb && out.known < 20);
  if (some && risen * 2 <= out.known) {
    out.channels = risen;
    out.rise_db = risen_sum / risen;
  } else if (always > 0 && always * 2 <= out.known) {
    out.channels = always;
    out.rise_db = always_sum / always;
    out.lasting = true;
  }
  return out;
}

void ChannelLevels::accept() {
  for (Channel& channel : channels_) {
    // The offset is known better than the level of now, unless that has left it.
    if (channel.noise_now_db - channel.noise_db > kHoldsBackDb)
      channel.noise_db = channel.noise_now_db;
    channel.accepted_db = channel.noise_db;
  }
}

}  // namespace fadeward::link
