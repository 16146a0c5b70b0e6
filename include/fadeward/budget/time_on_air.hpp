// How long a frame occupies the channel, and how many bits it carries.
#pragma once

#include <cstddef>
#include <optional>

namespace fadeward::budget {

/// Symbols longer than this call for the low data rate optimisation (transceiver datasheets).
inline constexpr double kLongSymbolS = 0.016;

/// A reading with its address and checksum: what budgets count a frame with.
inline constexpr std::size_t kTypicalPayloadBytes = 20;

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

/// Time on air of a plain frequency-shift frame, s: payload and 10 octets around it (preamble 3,
/// sync word 4, length 1, checksum 2: from memory, what transceivers send unless told otherwise).
/// Empty where the bit rate is not above 0.
std::optional<double> fsk_time_on_air_s(double bit_rate_bps, std::size_t payload_bytes);

}  // namespace fadeward::budget
