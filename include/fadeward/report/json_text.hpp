// The grammar of JSON (RFC 8259), strictly, as functions that move a pointer over a text.
//
// Every function takes a place in the text and its end and returns the place behind what it read,
// or null if the grammar is broken. At least kJsonPadding bytes behind `end` must be readable
// (whatever they hold); a function may look at them but reads on only before `end`, and a result
// beyond `end` means a broken text, which the caller finds in the end.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace fadeward::report {

inline constexpr std::size_t kJsonPadding = 64;
inline constexpr int kJsonDepth = 64;  ///< arrays and objects nested deeper are refused

inline bool is_json_space(char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; }

inline const char* skip_json_space(const char* at, const char* end) {
  while (at < end && is_json_space(*at)) ++at;
  return at;
}

/// Behind an opening quote: checks the string up to and including its closing quote. Control
/// characters, unknown escapes, half surrogates and invalid UTF-8 break the grammar.
/// `escaped` becomes true if there is any backslash.
const char* skip_json_string(const char* at, const char* end, bool& escaped);

/// The text of a checked string between its quotes; without escapes a view of the input, else of
/// `scratch`, which is overwritten.
std::string_view json_text(const char* first, const char* last, bool escaped, std::string& scratch);

/// Any value, nested ones included, at most kJsonDepth - depth levels of them.
const char* skip_json_value(const char* at, const char* end, int depth = 0);

/// Exactly true, false or null.
const char* skip_json_literal(const char* at, const char* end);

/// A number as RFC 8259 has it: no '+', no leading zeros, digits on both sides of a point. The
/// value is the nearest double; too large becomes infinite, too small zero. `whole`: written
/// without point and exponent.
const char* read_json_number(const char* at, const char* end, double& value, bool& whole);

bool is_valid_utf8(std::string_view text);

}  // namespace fadeward::report
