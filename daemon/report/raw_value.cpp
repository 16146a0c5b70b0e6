#include "fadeward/report/raw_value.hpp"

#include <charconv>
#include <limits>

#include "fadeward/report/json_number.hpp"

namespace fadeward::report {

namespace {

bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r' || c == '\n'; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

/// Up to 15 digits with at most one point, the sign taken off: exact, and most of what comes.
bool read_plain(std::string_view digits, bool negative, RawValue& raw) {
  if (digits.size() > 16) return false;
  const char* at = digits.data();
  const char* const end = at + digits.size();
  std::uint64_t mantissa = 0;
  for (; at < end && is_digit(*at); ++at)
    mantissa = mantissa * 10 + static_cast<unsigned>(*at - '0');
  raw.whole = at == end;
  if (raw.whole) {
    if (digits.size() > 15) return false;
    raw.integer = negative ? 0 - mantissa : mantissa;
    raw.number = static_cast<double>(static_cast<std::int64_t>(raw.integer));
    return true;
  }
  if (*at++ != '.' || digits.size() == 1) return false;
  const char* const fraction = at;
  for (; at < end && is_digit(*at); ++at)
    mantissa = mantissa * 10 + static_cast<unsigned>(*at - '0');
  raw.number = Decimal{mantissa, static_cast<unsigned>(end - fraction), negative}.value();
  return at == end;
}

/// A whole number of more digits that still fits 64 bits.
bool read_integer(std::string_view digits, bool negative, int base, RawValue& raw) {
  std::uint64_t magnitude = 0;
  const char* const end = digits.data() + digits.size();
  const auto [stop, error] = std::from_chars(digits.data(), end, magnitude, base);
  if (error != std::errc() || stop != end) return false;
  if (negative && magnitude > std::uint64_t{1} << 63U) return false;
  raw.number = static_cast<double>(magnitude);
  if (negative) raw.number = -raw.number;
  raw.integer = negative ? 0 - magnitude : magnitude;
  raw.whole = true;
  return true;
}

bool read_float(std::string_view text, bool negative, RawValue& raw) {
  if (text.starts_with('-')) return false;  // a second sign
  const char* const end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, raw.number);
  if (stop != end || error == std::errc::invalid_argument) return false;
  // Too large or too small for a double: no plausible value either way.
  if (error != std::errc()) raw.number = std::numeric_limits<double>::infinity();
  if (negative) raw.number = -raw.number;
  return true;
}

}  // namespace

RawValue raw_from_text(std::string_view text) {
  RawValue raw;
  raw.text = trimmed(text);
  std::string_view digits = raw.text;
  if (digits.empty()) return raw;
  const bool negative = digits.front() == '-';
  if (negative || digits.front() == '+') digits.remove_prefix(1);
  if (digits.empty()) return raw;
  if (digits.starts_with("0x") || digits.starts_with("0X")) {
    digits.remove_prefix(2);
    raw.numeric = !digits.empty() && read_integer(digits, negative, 16, raw);
    return raw;
  }
  raw.numeric = read_plain(digits, negative, raw) || read_integer(digits, negative, 10, raw) ||
                read_float(digits, negative, raw);
  return raw;
}

RawValue raw_from_signed(std::int64_t value) {
  return {{}, static_cast<double>(value), static_cast<std::uint64_t>(value), true, true};
}

RawValue raw_from_unsigned(std::uint64_t value) {
  return {{}, static_cast<double>(value), value, true, true};
}

RawValue raw_from_float(double value) { return {{}, value, 0, true, false}; }

}  // namespace fadeward::report
