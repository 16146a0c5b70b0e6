#include "escape.hpp"

#include <algorithm>

#include "fadeward/base/text.hpp"

namespace fadeward::publish {

namespace {

/// 0..15, or -1.
int hex_digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

/// Needs no escape in a label value, and no look at its encoding.
bool is_plain(char c) { return c >= 0x20 && c < 0x7f && c != '"' && c != '\\'; }

bool is_unreserved(char c) {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '-' ||
         c == '.' || c == '_' || c == '~';
}

}  // namespace

void append_label_value(std::string& out, std::string_view text) {
  if (std::all_of(text.begin(), text.end(), is_plain)) {
    out += text;
    return;
  }
  // A JSON string is the same but for the control characters, which a label value holds as they
  // are; so the repair of UTF-8 stands in one place only.
  std::string json;
  append_json_string(json, text);
  for (std::size_t i = 1; i + 1 < json.size(); ++i) {
    if (json[i] != '\\') {
      out += json[i];
      continue;
    }
    const char kind = json[++i];
    if (kind == 't' || kind == 'r') {
      out += kind == 't' ? '\t' : '\r';
    } else if (kind == 'u') {  // always below U+0080
      out += static_cast<char>(hex_digit(json[i + 3]) * 16 + hex_digit(json[i + 4]));
      i += 4;
    } else {
      out += '\\';
      out += kind;
    }
  }
}

void append_help(std::string& out, std::string_view text, bool quotes) {
  for (const char c : text) {
    if (c == '\n') {
      out += "\\n";
    } else {
      if (c == '\\' || (quotes && c == '"')) out += '\\';
      out += c;
    }
  }
}

void append_percent_encoded(std::string& out, std::string_view text) {
  static constexpr std::string_view digits = "0123456789ABCDEF";
  for (const char c : text) {
    if (is_unreserved(c)) {
      out += c;
      continue;
    }
    const auto byte = static_cast<unsigned char>(c);
    out += '%';
    out += digits[byte >> 4];
    out += digits[byte & 15];
  }
}

std::optional<std::string> percent_decode(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '%') {
      out += text[i];
      continue;
    }
    if (i + 2 >= text.size()) return {};
    const int high = hex_digit(text[i + 1]);
    const int low = hex_digit(text[i + 2]);
    if (high < 0 || low < 0) return {};
    out += static_cast<char>(high * 16 + low);
    i += 2;
  }
  return out;
}

}  // namespace fadeward::publish
