// Writing numbers and foreign text without surprises.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace fadeward {

/// Appends the shortest decimal form that reads back as the same double ("-101.25", "1e+30").
/// NaN and infinities have no place in JSON: they are written as null.
void append_number(std::string& out, double value);
void append_number(std::string& out, std::int64_t value);
void append_number(std::string& out, std::uint64_t value);

/// Appends `value` rounded to `decimals` (0..9) without trailing zeros; "-0" becomes "0".
/// Not finite: null.
void append_rounded(std::string& out, double value, int decimals);
inline std::string rounded_text(double value, int decimals = 2) {
  std::string out;
  append_rounded(out, value, decimals);
  return out;
}
/// The same with all its decimals: what stands below each other lines up; "-0.0" becomes "0.0".
void append_fixed(std::string& out, double value, int decimals);

/// Appends a JSON string with its quotes. Control characters are escaped; bytes that are not valid
/// UTF-8 become U+FFFD, so that foreign text never breaks a document.
void append_json_string(std::string& out, std::string_view text);

/// The text made safe for one line of a terminal or log: control characters and invalid UTF-8 as
/// \xNN, cut after `limit` bytes with an ellipsis.
std::string printable(std::string_view text, std::size_t limit = 200);

/// A name that Prometheus takes for a label of somebody's own: letters, digits and underscores, not
/// a digit first, not two underscores first; 1 to 128 bytes.
bool is_label_name(std::string_view name);

}  // namespace fadeward
