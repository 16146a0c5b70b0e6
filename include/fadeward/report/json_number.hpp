// Reading the numbers that reports are made of, a word at a time.
#pragma once

#include <bit>
#include <cstdint>
#include <cstring>

namespace fadeward::report {

static_assert(std::endian::native == std::endian::little,
              "the first character must be the lowest byte of a word");

inline constexpr double kPowersOfTen[16] = {1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                            1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};

/// A number as written: (-1)^negative * mantissa / 10^decimals. At most fifteen digits, so that
/// mantissa and power are exact doubles and their quotient is correctly rounded (Clinger, How to
/// Read Floating Point Numbers Accurately, 1990).
struct Decimal {
  std::uint64_t mantissa = 0;
  unsigned decimals = 0;
  bool negative = false;

  double value() const {
    const auto whole = static_cast<std::int64_t>(mantissa);
    return static_cast<double>(negative ? -whole : whole) / kPowersOfTen[decimals];
  }
};

namespace number_detail {

constexpr std::uint64_t kEach = 0x0101010101010101;

inline std::uint64_t load(const char* at) {
  std::uint64_t word;
  std::memcpy(&word, at, sizeof word);
  return word;
}

/// The highest bit of each byte that is not a decimal digit.
inline std::uint64_t non_digits(std::uint64_t word) {
  const std::uint64_t off = word ^ kEach * '0';
  return (((off & kEach * 0x7f) + kEach * 0x76) | off) & kEach * 0x80;
}

/// Eight digits of value 0..9, the first in the lowest byte.
inline std::uint64_t join(std::uint64_t digits) {
  digits = digits * 10 + (digits >> 8U);
  return ((digits & 0x000000ff000000ff) * 0x000f424000000064 +
          ((digits >> 16U) & 0x000000ff000000ff) * 0x0000271000000001) >>
         32U;
}

/// The run of digits at the front of a word.
struct Run {
  std::uint64_t digits;  ///< the word with digit bytes as 0..9
  unsigned bits;         ///< eight times the number of digits, 0..56; 64: all eight are digits
  char stop;             ///< the character behind them; 0 if all eight are digits

  explicit Run(std::uint64_t word) : digits(word ^ kEach * '0') {
    const std::uint64_t others = non_digits(word);
    bits = others != 0 ? static_cast<unsigned>(std::countr_zero(others)) - 7 : 64;
    stop = others != 0 ? static_cast<char>(word >> bits) : '\0';
  }
  unsigned count() const { return bits >> 3U; }
  /// Value of the digits; bits > 0.
  std::uint64_t value() const { return join(digits << (64 - bits)); }
};

inline constexpr std::uint64_t kWholePowers[9] = {1,      10,      100,      1000,     10000,
                                                  100000, 1000000, 10000000, 100000000};

/// Behind the point, `number` holding what stands before it.
inline const char* read_fraction(const char* at, Decimal& number) {
  const Run run(load(at));
  if (run.bits == 0 || run.bits == 64 || (run.stop | 0x20) == 'e') return nullptr;
  number.mantissa = number.mantissa * kWholePowers[run.count()] + run.value();
  number.decimals = run.count();
  return at + run.count();
}

/// The same for eight or more digits before a point or end, of which `first` are the first eight.
inline const char* read_long_number(const char* at, std::uint64_t first, Decimal& number) {
  const Run run(load(at + 8));
  number.mantissa = first;
  if (run.bits > 56) return nullptr;
  if (run.bits > 0) number.mantissa = first * kWholePowers[run.count()] + run.value();
  at += 8 + run.count();
  if (run.stop != '.') return (run.stop | 0x20) == 'e' ? nullptr : at;
  const char* const end = read_fraction(at + 1, number);
  return run.count() + number.decimals <= 7 ? end : nullptr;
}

}  // namespace number_detail

/// Reads a number of the shapes that reports are made of: an optional '-', digits, perhaps a point
/// and digits; up to 15 digits. Looks at up to 26 bytes from `at`, all of which must be readable.
/// Null for everything else, right or wrong: read_json_number decides then.
inline const char* read_short_number(const char* at, Decimal& number) {
  using namespace number_detail;
  number.negative = *at == '-';
  at += number.negative ? 1 : 0;
  const Run run(load(at));
  number.decimals = 0;
  if (run.bits == 0 || (*at == '0' && run.bits > 8)) return nullptr;
  if (run.bits == 64) return read_long_number(at, join(run.digits), number);
  number.mantissa = run.value();
  at += run.count();
  if (run.stop == '.') return read_fraction(at + 1, number);
  return (run.stop | 0x20) == 'e' ? nullptr : at;
}

/// The commonest of them: up to seven characters right before a comma. Looks at eight bytes. Null
/// for everything else. Where the number ends depends on the comma alone, so that reading on need
/// not wait for its digits.
[[gnu::always_inline]] inline const char* read_before_comma(const char* at, double& value) {
  using namespace number_detail;
  std::uint64_t word = load(at);
  const std::uint64_t difference = word ^ kEach * ',';
  const std::uint64_t comma = (difference - kEach) & ~difference & kEach * 0x80;
  if (comma == 0) return nullptr;
  unsigned bits = static_cast<unsigned>(std::countr_zero(comma)) - 7;
  const char* const end = at + (bits >> 3U);
  const bool negative = static_cast<char>(word) == '-';
  const unsigned sign_bits = negative ? 8 : 0;
  word >>= sign_bits;
  bits -= sign_bits;
  const std::uint64_t others = non_digits(word);
  const unsigned stop = static_cast<unsigned>(std::countr_zero(others)) - 7;
  std::uint64_t digits = word ^ kEach * '0';
  if (stop == 0 || (static_cast<char>(word) == '0' && stop > 8)) [[unlikely]]
    return nullptr;
  if (stop == bits) {
    const auto whole = static_cast<std::int64_t>(join(digits << (64 - bits)));
    value = static_cast<double>(negative ? -whole : whole);
    return end;
  }
  const std::uint64_t rest = others & (others - 1);
  const unsigned decimal_bits = bits - stop - 8;
  if (static_cast<char>(word >> stop) != '.' || decimal_bits == 0 ||
      static_cast<unsigned>(std::countr_zero(rest)) - 7 != bits) [[unlikely]]
    return nullptr;
  const std::uint64_t before = (std::uint64_t{1} << stop) - 1;
  digits = (digits & before) | (digits >> 8U & ~before);
  const auto whole = static_cast<std::int64_t>(join(digits << (72 - bits)));
  value = static_cast<double>(negative ? -whole : whole) / kPowersOfTen[decimal_bits >> 3U];
  return end;
}

}  // namespace fadeward::report
