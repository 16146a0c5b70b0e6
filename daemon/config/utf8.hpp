// Checks and steps through UTF-8 (RFC 3629).
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

namespace fadeward::config {

struct Character {
  std::uint32_t code = 0;
  std::size_t bytes = 0;
};

/// The character at the front; empty if it is not well-formed (overlong, surrogate, cut, too high).
std::optional<Character> front_character(std::string_view text);

/// Position of the first byte that is malformed or a control character other than tab, line feed
/// and carriage return; text.size() if there is none.
std::size_t first_bad_character(std::string_view text);

/// True for C0, DEL and C1, line ends and tab included.
bool is_control(std::uint32_t code);

/// Number of characters in well-formed text.
std::size_t count_characters(std::string_view text);

}  // namespace fadeward::config
