#include "utf8.hpp"

#include <algorithm>

namespace fadeward::config {
namespace {

struct Lead {
  std::size_t bytes;
  std::uint32_t bits;    // payload of the first byte
  std::uint32_t lowest;  // smaller codes would be overlong
};

std::optional<Lead> lead_of(unsigned char byte) {
  if (byte < 0x80) return Lead{1, byte, 0};
  if (byte >= 0xC2 && byte < 0xE0) return Lead{2, byte & 0x1FU, 0x80};
  if (byte >= 0xE0 && byte < 0xF0) return Lead{3, byte & 0x0FU, 0x800};
  if (byte >= 0xF0 && byte < 0xF5) return Lead{4, byte & 0x07U, 0x10000};
  return {};
}

}  // namespace

std::optional<Character> front_character(std::string_view text) {
  if (text.empty()) return {};
  const auto lead = lead_of(static_cast<unsigned char>(text[0]));
  if (!lead || text.size() < lead->bytes) return {};
  std::uint32_t code = lead->bits;
  for (std::size_t i = 1; i < lead->bytes; ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    if ((byte & 0xC0U) != 0x80) return {};
    code = code << 6 | (byte & 0x3FU);
  }
  const bool surrogate = code >= 0xD800 && code < 0xE000;
  if (code < lead->lowest || code > 0x10FFFF || surrogate) return {};
  return Character{code, lead->bytes};
}

bool is_control(std::uint32_t code) { return code < 0x20 || (code >= 0x7F && code < 0xA0); }

std::size_t first_bad_character(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    const auto character = front_character(text.substr(at));
    if (!character) return at;
    const bool line_or_tab = character->code == 9 || character->code == 10 || character->code == 13;
    if (is_control(character->code) && !line_or_tab) return at;
    at += character->bytes;
  }
  return text.size();
}

std::size_t count_characters(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) != 0x80;
  }));
}

}  // namespace fadeward::config
