// A value as a frame holds it, before a rule turns it into a canonical one.
#pragma once

#include <cstdint>
#include <string_view>

namespace fadeward::report {

struct RawValue {
  std::string_view text;      ///< as written; empty where the frame holds binary numbers
  double number = 0;          ///< valid if `numeric`
  std::uint64_t integer = 0;  ///< its bits (two's complement), valid if `whole`
  bool numeric = false;
  bool whole = false;  ///< a whole number that fits 64 bits
};

/// Text of a line: blanks around it are dropped. It is numeric if all that is left is one number:
/// decimal ("-101", "+7.5", ".5", "1e3") or hexadecimal ("0x1F"). "-101dBm" is none. "inf" and
/// "nan" are numeric and not finite, as is 1e999.
RawValue raw_from_text(std::string_view text);

RawValue raw_from_signed(std::int64_t value);
RawValue raw_from_unsigned(std::uint64_t value);
RawValue raw_from_float(double value);

}  // namespace fadeward::report
