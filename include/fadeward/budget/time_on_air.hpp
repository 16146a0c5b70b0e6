// How long a chirp spread spectrum frame occupies the channel, and how many bits it carries.
#pragma once

#include <cstddef>
#include <optional>

namespace fadeward::budget {

/// Symbols longer than this call for the low data rate optimisation (transceiver datasheets).
inline constexpr double kLongSymbolS = 0.016;

struct CssFrame {
  int spreading_factor = 7;       ///< 5..12
  double bandwidth_hz = 125'000;  ///< above 0
  std::size_t payload_bytes = 0;  ///< 0..255
  int coding_rate = 1;            ///< 1..4: 4/5..4/8
  int preamble_symbols = 8;       ///< 1..65535
  bool explicit_header = true;
  bool crc = true;
  std::optional<bool> low_rate_optimised = {};  ///< empty: where a symbol is longer than 16 ms
};

/// Time on air, s. Empty where an argument is outside its range. Formula of the transceiver
/// datasheets: (preamble + 4.25) symbols, then 8 + ceil(...) payload symbols; spreading factors 5
/// and 6 with 6.25 symbols and 8 header bits less, as newer transceivers send them.
std::optional<double> css_time_on_air_s(const CssFrame& frame);

/// Raw bit rate SF BW / 2^SF 4/(4 + CR), bit/s; with the low data rate optimisation SF - 2 bits per
/// symbol. Empty as above.
std::optional<double> css_bit_rate_bps(const CssFrame& frame);

}  // namespace fadeward::budget
