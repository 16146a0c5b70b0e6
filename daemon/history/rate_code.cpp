#include "fadeward/history/rate_code.hpp"

#include <bit>
#include <cmath>

namespace fadeward::history {

namespace {

/// Powers are mostly in quarters of a decibel, bandwidths in hundreds of hertz.
void put_float(BitWriter& bits, float value, float steps) {
  const float scaled = value * steps;
  const bool plain = std::abs(scaled) < 1e6F && std::round(scaled) / steps == value &&
                     !(value == 0 && std::signbit(value));
  bits.flag(plain);
  if (plain)
    bits.golomb(zigzag(static_cast<std::int64_t>(std::round(scaled))), 5);
  else
    bits.bits(std::bit_cast<std::uint32_t>(value), 32);
}

float get_float(BitReader& bits, float steps) {
  if (!bits.flag()) return std::bit_cast<float>(static_cast<std::uint32_t>(bits.bits(32)));
  return static_cast<float>(unzigzag(bits.golomb(5))) / steps;
}

constexpr float kPowerSteps = 4, kBandwidthSteps = 0.01F;

}  // namespace

bool same_bits(const RateTotal& a, const RateTotal& b) {
  return a.power_known == b.power_known && a.spreading_factor == b.spreading_factor &&
         std::bit_cast<std::uint32_t>(a.power_dbm) == std::bit_cast<std::uint32_t>(b.power_dbm) &&
         std::bit_cast<std::uint32_t>(a.bandwidth_hz) ==
             std::bit_cast<std::uint32_t>(b.bandwidth_hz);
}

void put_rates(BitWriter& bits, const std::vector<RateTotal>& rates, std::uint64_t frames,
               std::vector<RateTotal>& near) {
  bool same = rates.size() == near.size();
  for (std::size_t i = 0; same && i < rates.size(); ++i) same = same_bits(rates[i], near[i]);
  bits.flag(same);
  if (!same) {
    bits.golomb(rates.size(), 1);
    for (const RateTotal& rate : rates) {
      bits.flag(rate.power_known);
      put_float(bits, rate.power_dbm, kPowerSteps);
      put_float(bits, rate.bandwidth_hz, kBandwidthSteps);
      bits.golomb(rate.spreading_factor, 3);
    }
    near = rates;
  }
  const bool one = rates.size() == 1 && rates[0].frames == frames;
  bits.flag(one);
  if (!one)
    for (const RateTotal& rate : rates) bits.golomb(rate.frames, 6);
}

bool get_rates(BitReader& bits, std::vector<RateTotal>& rates, std::uint64_t frames,
               std::vector<RateTotal>& near) {
  if (!bits.flag()) {
    const std::uint64_t size = bits.golomb(1);
    if (size > Summary::kMostRates) return false;
    near.resize(size);
    for (RateTotal& rate : near) {
      rate.power_known = bits.flag();
      rate.power_dbm = get_float(bits, kPowerSteps);
      rate.bandwidth_hz = get_float(bits, kBandwidthSteps);
      rate.spreading_factor = static_cast<std::uint8_t>(bits.golomb(3));
    }
  }
  rates = near;
  if (bits.flag()) {
    if (rates.size() != 1) return false;
    rates[0].frames = frames;
  } else {
    for (RateTotal& rate : rates) rate.frames = bits.golomb(6);
  }
  return bits.ok();
}

}  // namespace fadeward::history
