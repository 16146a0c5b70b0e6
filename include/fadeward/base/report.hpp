// A link report: what a radio said about one link at one moment.
#pragma once

#include <cstdint>
#include <string_view>

#include "fadeward/base/field.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward {

using PortIndex = std::uint16_t;   ///< position of a port in the settings
using LinkIndex = std::uint32_t;   ///< position of a link in the settings
inline constexpr PortIndex kNoPort = 0xffff;
inline constexpr LinkIndex kNoLink = 0xffffffff;       ///< belongs to no configured link
inline constexpr LinkIndex kUnresolved = 0xfffffffe;   ///< nobody has looked yet

/// One decoded report. Plain and reusable: a decoder overwrites the same object line after line,
/// `clear()` resets the mask and leaves the numbers, so a slot costs nothing to reuse.
///
/// `link` refers to the decoder's input (or its scratch buffer for names with escapes) and lives
/// until the next call of the decoder; resolve it to `index` before keeping the report.
struct LinkReport {
  Time time{};                        ///< valid only if `timed`
  std::string_view link;              ///< as the radio names it; empty: the report named none
  LinkIndex index = kUnresolved;      ///< set by Supervisor::resolve
  PortIndex port = kNoPort;
  bool timed = false;                 ///< the report carried its own time
  std::uint64_t present = 0;          ///< bit n: value of Field(n) is valid
  double values[kFields];             ///< canonical units; indeterminate where not present

  void clear() {
    link = {};
    index = kUnresolved;
    timed = false;
    present = 0;
  }
  bool has(Field field) const { return (present >> static_cast<unsigned>(field) & 1U) != 0; }
  double operator[](Field field) const { return values[static_cast<unsigned>(field)]; }
  /// Without any check of range; decoders use `report::put`.
  void set(Field field, double value) {
    values[static_cast<unsigned>(field)] = value;
    present |= std::uint64_t{1} << static_cast<unsigned>(field);
  }
};

}  // namespace fadeward
