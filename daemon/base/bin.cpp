#include "fadeward/base/bin.hpp"

#include <algorithm>

namespace fadeward {

void Bin::merge(const Bin& other) {
  frames += other.frames;
  lost += other.lost;
  sent += other.sent;
  retries += other.retries;
  failures += other.failures;
  noise_source = other.noise_source;
  loss_source = other.loss_source;
  upkeep = upkeep || other.upkeep;
  margin.merge(other.margin);
  signal.merge(other.signal);
  noise.merge(other.noise);
  for (const RateUse& use : other.rates) {
    if (use.frames == 0) continue;
    auto place = std::ranges::find_if(
        rates, [&](const RateUse& own) { return own.frames == 0 || same_setting(own, use); });
    if (place == rates.end()) place = rates.end() - 1;
    if (place->frames == 0)
      *place = {use.power_dbm, use.power_known, use.spreading_factor, use.bandwidth_hz, 0};
    place->frames += use.frames;
  }
  for (const ChannelPart& part : other.channels) {
    const auto own = std::ranges::find(channels, part.channel, &ChannelPart::channel);
    if (own == channels.end()) {
      channels.push_back(part);
      continue;
    }
    own->frames =
        static_cast<std::uint16_t>(std::min(0xffffU, unsigned{own->frames} + part.frames));
    own->signal_sum_dbm += part.signal_sum_dbm;
    own->noise_sum_dbm += part.noise_sum_dbm;
  }
}

}  // namespace fadeward
