// YAML text -> checked settings.
//
// One run shows every mistake (up to 20, sorted by line), one line each:
//   FILE:LINE:COLUMN: links[2].radio.spreading_factor: 13 is not allowed: a whole number from 5 to
//   12
// Refused: unknown and repeated keys, wrong types and units, impossible values, duplicate names,
// references that lead nowhere, combinations that cannot work.
//
// Notes on the notation:
// - `defaults` holds expect, radio, budget, rules, alerts, baseline, upkeep and site. A link starts
//   from them and changes what it names, key by key; a list (upkeep) is replaced as a whole.
// - A built-in alert level gives way to a level in the file that contradicts it: `margin_db:
//   { warning: 4 }` leaves no critical level, since the built-in one (5) lies above. Two levels of
//   the file that contradict each other are refused.
// - `alerts: { loss_ratio: off }` switches one alert off.
// - `bits: "7..4"`: highest and lowest bit of the raw integer, both included, either order; bit 0
// is
//   the least significant. `bits: 3` is one bit.
// - `poll.send`: each character up to U+00FF is one byte, so that "\xA5" in double quotes sends the
//   byte 0xA5. Other characters are refused.
// - At most 1,000 ports, 10,000 links, 200 upkeep periods of a link.
// - Relative paths are taken from the directory of the file, as text; nothing is looked up.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"

namespace fadeward::config {

inline constexpr std::size_t kMaxFileBytes = std::size_t{1} << 20;
inline constexpr std::size_t kMaxErrors = 20;  ///< lines of one error message; the rest is counted

/// Words that other rooms define. Empty: any well-formed word is taken.
struct Vocabulary {
  std::vector<std::string> rule_sets;  ///< what `rules.set` may name
};

/// Pure: opens nothing, reads no clock. `file_name` serves messages and relative paths. Time and
/// memory are bounded for any input; aliases count as often as they are used.
Result<Settings> parse(std::string_view yaml_text, std::string_view file_name,
                       const Vocabulary& vocabulary = {});

/// Reads the file and parses it. A missing or unreadable file, a directory or more than
/// kMaxFileBytes is an error.
Result<Settings> load(const std::string& path, const Vocabulary& vocabulary = {});

}  // namespace fadeward::config
