#include "fadeward/report/json_text.hpp"

#include <algorithm>
#include <charconv>
#include <cstring>
#include <limits>

#include "fadeward/report/json_number.hpp"

namespace fadeward::report {

namespace {

constexpr std::uint64_t kOnes = 0x0101010101010101;
constexpr std::uint64_t kHighs = 0x8080808080808080;

/// Is any of eight bytes a quote, a backslash, a control character or beyond ASCII?
bool is_special(const char* at) {
  std::uint64_t word;
  std::memcpy(&word, at, sizeof word);
  const std::uint64_t quote = word ^ kOnes * '"';
  const std::uint64_t slash = word ^ kOnes * '\\';
  return (((quote - kOnes) & ~quote) | ((slash - kOnes) & ~slash) | (word - kOnes * 0x20) | word) &
         kHighs;
}

int hex_digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

/// Four hexadecimal digits; -1 if there are none.
int hex4(const char* at, const char* end) {
  if (end - at < 4) return -1;
  int value = 0;
  for (int i = 0; i < 4; ++i) {
    const int digit = hex_digit(at[i]);
    if (digit < 0) return -1;
    value = value * 16 + digit;
  }
  return value;
}

bool is_high_surrogate(int unit) { return unit >= 0xd800 && unit < 0xdc00; }
bool is_low_surrogate(int unit) { return unit >= 0xdc00 && unit < 0xe000; }

/// Behind "\u": the digits of one character, which may be a pair of surrogates.
const char* skip_unicode_escape(const char* at, const char* end) {
  const int unit = hex4(at, end);
  if (unit < 0 || is_low_surrogate(unit)) return nullptr;
  at += 4;
  if (!is_high_surrogate(unit)) return at;
  if (end - at < 6 || at[0] != '\\' || at[1] != 'u' || !is_low_surrogate(hex4(at + 2, end)))
    return nullptr;
  return at + 6;
}

/// Behind a backslash.
const char* skip_escape(const char* at, const char* end) {
  if (at >= end) return nullptr;
  if (*at == 'u') return skip_unicode_escape(at + 1, end);
  return std::strchr("\"\\/bfnrt", *at) != nullptr && *at != '\0' ? at + 1 : nullptr;
}

void append_utf8(std::string& out, std::uint32_t code) {
  if (code < 0x80) {
    out += static_cast<char>(code);
  } else if (code < 0x800) {
    out += static_cast<char>(0xc0 | code >> 6U);
    out += static_cast<char>(0x80 | (code & 0x3fU));
  } else if (code < 0x10000) {
    out += static_cast<char>(0xe0 | code >> 12U);
    out += static_cast<char>(0x80 | (code >> 6U & 0x3fU));
    out += static_cast<char>(0x80 | (code & 0x3fU));
  } else {
    out += static_cast<char>(0xf0 | code >> 18U);
    out += static_cast<char>(0x80 | (code >> 12U & 0x3fU));
    out += static_cast<char>(0x80 | (code >> 6U & 0x3fU));
    out += static_cast<char>(0x80 | (code & 0x3fU));
  }
}

/// Behind a backslash of a checked string: appends what the escape means.
const char* append_escape(const char* at, const char* end, std::string& out) {
  switch (const char c = *at++; c) {
    case 'b': out += '\b'; return at;
    case 'f': out += '\f'; return at;
    case 'n': out += '\n'; return at;
    case 'r': out += '\r'; return at;
    case 't': out += '\t'; return at;
    case 'u': break;
    default: out += c; return at;
  }
  auto code = static_cast<std::uint32_t>(hex4(at, end));
  at += 4;
  if (is_high_surrogate(static_cast<int>(code))) {
    const auto low = static_cast<std::uint32_t>(hex4(at + 2, end));
    code = 0x10000 + ((code - 0xd800) << 10U) + (low - 0xdc00);
    at += 6;
  }
  append_utf8(out, code);
  return at;
}

const char* skip_array(const char* at, const char* end, int depth) {
  at = skip_json_space(at, end);
  if (at < end && *at == ']') return at + 1;
  for (;;) {
    at = skip_json_value(skip_json_space(at, end), end, depth);
    if (!at) return nullptr;
    at = skip_json_space(at, end);
    if (at >= end) return nullptr;
    if (*at == ']') return at + 1;
    if (*at++ != ',') return nullptr;
  }
}

const char* skip_object(const char* at, const char* end, int depth) {
  bool escaped = false;
  at = skip_json_space(at, end);
  if (at < end && *at == '}') return at + 1;
  for (;;) {
    at = skip_json_space(at, end);
    if (at >= end || *at != '"') return nullptr;
    at = skip_json_string(at + 1, end, escaped);
    if (!at) return nullptr;
    at = skip_json_space(at, end);
    if (at >= end || *at != ':') return nullptr;
    at = skip_json_value(skip_json_space(at + 1, end), end, depth);
    if (!at) return nullptr;
    at = skip_json_space(at, end);
    if (at >= end) return nullptr;
    if (*at == '}') return at + 1;
    if (*at++ != ',') return nullptr;
  }
}

/// The parts of a number's text.
struct NumberText {
  const char* integer;
  const char* fraction;  ///< null: no point
  const char* exponent;  ///< null: none; at its sign or first digit
  const char* end;
};

const char* skip_digits(const char* at, const char* end) {
  while (at < end && *at >= '0' && *at <= '9') ++at;
  return at;
}

bool scan_number(const char* at, const char* end, NumberText& text) {
  if (at < end && *at == '-') ++at;
  text = {at, nullptr, nullptr, nullptr};
  const char* stop = skip_digits(at, end);
  if (stop == at || (*at == '0' && stop - at > 1)) return false;
  if (stop < end && *stop == '.') {
    text.fraction = stop + 1;
    stop = skip_digits(text.fraction, end);
    if (stop == text.fraction) return false;
  }
  if (stop < end && (*stop == 'e' || *stop == 'E')) {
    text.exponent = ++stop;
    if (stop < end && (*stop == '+' || *stop == '-')) ++stop;
    const char* const digits = stop;
    stop = skip_digits(digits, end);
    if (stop == digits) return false;
  }
  text.end = stop;
  return true;
}

/// Of a number that no double can hold: too large, rather than too small? The power of ten of its
/// first digit that is not zero decides.
bool is_huge(const NumberText& text) {
  const char* point = skip_digits(text.integer, text.end);
  const char* digit = text.integer;
  while (digit < text.end && (*digit == '0' || *digit == '.')) ++digit;
  const long long power = digit < point ? point - digit - 1 : point - digit;
  long long exponent = 0;
  if (text.exponent) {
    const bool negative = *text.exponent == '-';
    for (const char* at = text.exponent; at < text.end; ++at)
      if (*at >= '0' && *at <= '9')
        exponent = std::min(exponent * 10 + (*at - '0'), 1'000'000'000LL);
    if (negative) exponent = -exponent;
  }
  return power + exponent > 0;
}

}  // namespace

const char* skip_json_string(const char* at, const char* end, bool& escaped) {
  const char* const first = at;
  escaped = false;
  bool ascii = true;
  for (;;) {
    while (end - at >= 8 && !is_special(at)) at += 8;
    if (at >= end) return nullptr;
    const auto c = static_cast<unsigned char>(*at);
    if (c == '"') break;
    if (c < 0x20) return nullptr;
    ++at;
    ascii = ascii && c < 0x80;
    if (c == '\\') {
      escaped = true;
      at = skip_escape(at, end);
      if (!at) return nullptr;
    }
  }
  if (!ascii && !is_valid_utf8({first, static_cast<std::size_t>(at - first)})) return nullptr;
  return at + 1;
}

std::string_view json_text(const char* first, const char* last, bool escaped,
                           std::string& scratch) {
  if (!escaped) return {first, static_cast<std::size_t>(last - first)};
  scratch.clear();
  for (const char* at = first; at < last;) {
    if (*at == '\\') {
      at = append_escape(at + 1, last, scratch);
    } else {
      scratch += *at++;
    }
  }
  return scratch;
}

const char* skip_json_literal(const char* at, const char* end) {
  for (const std::string_view literal : {"true", "false", "null"})
    if (static_cast<std::size_t>(end - at) >= literal.size() &&
        std::memcmp(at, literal.data(), literal.size()) == 0)
      return at + literal.size();
  return nullptr;
}

const char* skip_json_value(const char* at, const char* end, int depth) {
  if (at >= end) return nullptr;
  switch (*at) {
    case '"': {
      bool escaped = false;
      return skip_json_string(at + 1, end, escaped);
    }
    case '{': return depth >= kJsonDepth ? nullptr : skip_object(at + 1, end, depth + 1);
    case '[': return depth >= kJsonDepth ? nullptr : skip_array(at + 1, end, depth + 1);
    case 't':
    case 'f':
    case 'n': return skip_json_literal(at, end);
    default: {
      NumberText text;
      return scan_number(at, end, text) ? text.end : nullptr;
    }
  }
}

const char* read_json_number(const char* at, const char* end, double& value, bool& whole) {
  Decimal number;
  if (const char* const stop = read_short_number(at, number)) {
    value = number.value();
    whole = number.decimals == 0;
    return stop;
  }
  NumberText text;
  if (!scan_number(at, end, text)) return nullptr;
  whole = text.fraction == nullptr && text.exponent == nullptr;
  const auto [stop, error] = std::from_chars(at, text.end, value);
  if (error == std::errc::result_out_of_range) {
    value = is_huge(text) ? std::numeric_limits<double>::infinity() : 0.0;
    if (*at == '-') value = -value;
  }
  return text.end;
}

bool is_valid_utf8(std::string_view text) {
  const auto* at = reinterpret_cast<const unsigned char*>(text.data());
  const auto* const end = at + text.size();
  const auto follows = [&](int index, unsigned low, unsigned high) {
    return end - at > index && at[index] >= low && at[index] <= high;
  };
  while (at < end) {
    // Well-formed byte sequences: The Unicode Standard, table 3-7.
    const unsigned c = *at;
    int size = 0;
    if (c < 0x80) {
      size = 1;
    } else if (c >= 0xc2 && c <= 0xdf && follows(1, 0x80, 0xbf)) {
      size = 2;
    } else if (c >= 0xe0 && c <= 0xef &&
               follows(1, c == 0xe0 ? 0xa0 : 0x80, c == 0xed ? 0x9f : 0xbf) &&
               follows(2, 0x80, 0xbf)) {
      size = 3;
    } else if (c >= 0xf0 && c <= 0xf4 &&
               follows(1, c == 0xf0 ? 0x90 : 0x80, c == 0xf4 ? 0x8f : 0xbf) &&
               follows(2, 0x80, 0xbf) && follows(3, 0x80, 0xbf)) {
      size = 4;
    } else {
      return false;
    }
    at += size;
  }
  return true;
}

}  // namespace fadeward::report
