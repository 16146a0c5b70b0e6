#include "fadeward/budget/time_on_air.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::budget {
namespace {

constexpr std::size_t kFskBytesAround = 10;

bool in_range(const CssFrame& frame) {
  return frame.spreading_factor >= 5 && frame.spreading_factor <= 12 &&
         std::isfinite(frame.bandwidth_hz) && frame.bandwidth_hz > 0 &&
         frame.payload_bytes <= 255 && frame.coding_rate >= 1 && frame.coding_rate <= 4 &&
         frame.preamble_symbols >= 1 && frame.preamble_symbols <= 65'535;
}

double symbol_s(const CssFrame& frame) {
  return std::ldexp(1.0, frame.spreading_factor) / frame.bandwidth_hz;
}

bool low_rate(const CssFrame& frame) {
  return frame.low_rate_optimised.value_or(symbol_s(frame) > kLongSymbolS);
}

int bits_per_symbol(const CssFrame& frame) {
  return frame.spreading_factor - (low_rate(frame) ? 2 : 0);
}

}  // namespace

std::optional<double> css_time_on_air_s(const CssFrame& frame) {
  if (!in_range(frame)) return std::nullopt;
  const int factor = frame.spreading_factor;
  const bool short_chirps = factor <= 6;
  const int bits = 8 * static_cast<int>(frame.payload_bytes) + (frame.crc ? 16 : 0) - 4 * factor +
                   (short_chirps ? 0 : 8) + (frame.explicit_header ? 20 : 0);
  const double blocks = std::ceil(std::max(bits, 0) / (4.0 * bits_per_symbol(frame)));
  const double symbols =
      frame.preamble_symbols + (short_chirps ? 6.25 : 4.25) + 8 + blocks * (frame.coding_rate + 4);
  return symbols * symbol_s(frame);
}

std::optional<double> css_bit_rate_bps(const CssFrame& frame) {
  if (!in_range(frame)) return std::nullopt;
  return bits_per_symbol(frame) / symbol_s(frame) * 4 / (4 + frame.coding_rate);
}

std::optional<double> fsk_time_on_air_s(double bit_rate_bps, std::size_t payload_bytes) {
  if (!std::isfinite(bit_rate_bps) || bit_rate_bps <= 0) return std::nullopt;
  return 8 * static_cast<double>(payload_bytes + kFskBytesAround) / bit_rate_bps;
}

}  // namespace fadeward::budget
