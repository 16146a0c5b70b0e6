// The one way into a report: every decoder sets values through these functions.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

#include "fadeward/base/field.hpp"
#include "fadeward/base/report.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::report {

/// What a value must keep to, from field_info.
struct Limits {
  double lowest = 0;
  double highest = 0;
  bool whole = false;  ///< counts and numbers of things: a fraction is impossible
};

std::array<Limits, kFields> make_limits();
inline const std::array<Limits, kFields> kLimits = make_limits();

/// Makes a field absent.
inline void remove(LinkReport& report, Field field) {
  report.present &= ~(std::uint64_t{1} << static_cast<unsigned>(field));
}

/// Sets a field, or leaves it absent and returns false if the value is impossible: NaN, infinite,
/// out of range, a fraction of a frame. A later value replaces an earlier one, also by absence.
inline bool put(LinkReport& report, Field field, double value) {
  const Limits& limits = kLimits[static_cast<unsigned>(field)];
  if (!(value >= limits.lowest && value <= limits.highest) ||
      (limits.whole && value != static_cast<double>(static_cast<std::int64_t>(value))))
      [[unlikely]] {
    remove(report, field);
    return false;
  }
  report.set(field, value + 0.0);  // makes -0 a plain zero
  return true;
}

/// The same for the report's own time. Unix seconds must lie in the range of `far_time`.
bool put_time(LinkReport& report, double unix_s);
bool put_time(LinkReport& report, Time time);

/// RFC 3339 text as the value of `far_time` or as the report's time.
bool put_time_text(LinkReport& report, std::string_view text);
bool put_far_time_text(LinkReport& report, std::string_view text);

}  // namespace fadeward::report
