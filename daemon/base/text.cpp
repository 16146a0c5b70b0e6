#include "fadeward/base/text.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace fadeward {

namespace {

template <class T>
void append_with_to_chars(std::string& out, T value) {
  std::array<char, 40> text{};
  const auto [end, error] = std::to_chars(text.data(), text.data() + text.size(), value);
  (void)error;  // 40 characters hold every double and 64-bit integer
  out.append(text.data(), end);
}

/// Length of the well-formed UTF-8 sequence at the front (Unicode 15, table 3-7); 0 if there is
/// none.
std::size_t utf8_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const auto tail = [&](std::size_t i, unsigned low = 0x80, unsigned high = 0xbf) {
    return i < text.size() && byte(i) >= low && byte(i) <= high;
  };
  const unsigned first = byte(0);
  if (first < 0x80) return 1;
  if (first >= 0xc2 && first <= 0xdf) return tail(1) ? 2 : 0;
  if (first >= 0xe0 && first <= 0xef) {
    const unsigned low = first == 0xe0 ? 0xa0 : 0x80;
    const unsigned high = first == 0xed ? 0x9f : 0xbf;
    return tail(1, low, high) && tail(2) ? 3 : 0;
  }
  if (first >= 0xf0 && first <= 0xf4) {
    const unsigned low = first == 0xf0 ? 0x90 : 0x80;
    const unsigned high = first == 0xf4 ? 0x8f : 0xbf;
    return tail(1, low, high) && tail(2) && tail(3) ? 4 : 0;
  }
  return 0;
}

void append_hex(std::string& out, std::string_view prefix, unsigned char byte) {
  static constexpr std::string_view digits = "0123456789abcdef";
  out += prefix;
  out += digits[byte >> 4];
  out += digits[byte & 15];
}

void append_json_control(std::string& out, char c) {
  switch (c) {
    case '\n': out += "\\n"; return;
    case '\r': out += "\\r"; return;
    case '\t': out += "\\t"; return;
    default: append_hex(out, "\\u00", static_cast<unsigned char>(c));
  }
}

}  // namespace

void append_number(std::string& out, double value) {
  if (!std::isfinite(value)) {
    out += "null";
    return;
  }
  if (value == std::floor(value) && std::abs(value) < 1e15) {
    append_with_to_chars(out, static_cast<std::int64_t>(value));  // "-0" becomes "0"
    return;
  }
  append_with_to_chars(out, value);
}
void append_number(std::string& out, std::int64_t value) { append_with_to_chars(out, value); }
void append_number(std::string& out, std::uint64_t value) { append_with_to_chars(out, value); }

void append_rounded(std::string& out, double value, int decimals) {
  static constexpr std::array<double, 10> tens = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};
  const double ten = tens[static_cast<std::size_t>(decimals < 0 ? 0 : decimals > 9 ? 9 : decimals)];
  const double scaled = value * ten;
  if (!std::isfinite(scaled)) {
    append_number(out, value);
    return;
  }
  append_number(out, std::abs(scaled) < 9e15 ? std::round(scaled) / ten : value);
}

void append_fixed(std::string& out, double value, int decimals) {
  if (!std::isfinite(value)) {
    append_number(out, value);
    return;
  }
  std::array<char, 340> digits;  // the longest double, its sign, its decimals
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value,
                                 std::chars_format::fixed, std::clamp(decimals, 0, 9));
  const std::string_view text(digits.data(), static_cast<std::size_t>(end.ptr - digits.data()));
  const bool nothing_left = text.find_first_of("123456789") == std::string_view::npos;
  out += text.substr(text.starts_with('-') && nothing_left ? 1 : 0);
}

void append_json_string(std::string& out, std::string_view text) {
  out += '"';
  while (!text.empty()) {
    const char c = text.front();
    const std::size_t length = utf8_length(text);
    if (length == 0) {
      out += "\xef\xbf\xbd";
      text.remove_prefix(1);
      continue;
    }
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) {
      append_json_control(out, c);
    } else {
      out += text.substr(0, length);
    }
    text.remove_prefix(length);
  }
  out += '"';
}

std::string printable(std::string_view text, std::size_t limit) {
  std::string out;
  std::size_t used = 0;
  while (!text.empty()) {
    if (used >= limit) return out + "...";
    const std::size_t length = utf8_length(text);
    const auto first = static_cast<unsigned char>(text.front());
    // C1 control characters (U+0080..U+009F) move a terminal's cursor just as C0 does.
    const bool c1 = length == 2 && first == 0xc2 && static_cast<unsigned char>(text[1]) < 0xa0;
    if (length == 0 || first < 0x20 || first == 0x7f || c1) {
      append_hex(out, "\\x", first);
      text.remove_prefix(1);
      ++used;
      continue;
    }
    out += text.substr(0, length);
    text.remove_prefix(length);
    used += length;
  }
  return out;
}

bool is_label_name(std::string_view name) {
  const auto legal = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
  };
  return !name.empty() && name.size() <= 128 && !(name[0] >= '0' && name[0] <= '9') &&
         name.substr(0, 2) != "__" && std::all_of(name.begin(), name.end(), legal);
}

}  // namespace fadeward
