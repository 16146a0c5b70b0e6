// Points in time and spans, and their two text forms.
//
// Everything in the core carries time as `Time`: microseconds since the Unix epoch, UTC, without
// leap seconds. The core reads no clock; whoever calls it passes the time in.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace fadeward {

using Duration = std::chrono::microseconds;
using Time = std::chrono::sys_time<Duration>;

/// One reading of both clocks, taken once per wake-up.
/// `wall` can be stepped by an operator or by time synchronisation; `steady` never goes back and
/// has an arbitrary origin. A recording has one clock only: its replay passes the same value twice.
struct Instant {
  Time wall{};
  Duration steady{};
};

/// Whether a wall clock may show this: before 2024, when the program did not exist, it was never set.
constexpr bool believable(Time wall) {
  return wall >= Time{std::chrono::sys_days{std::chrono::year{2024} / 1 / 1}};
}

/// Seconds as a span, rounded to the nearest microsecond. Values beyond +-292,000 years saturate;
/// NaN gives zero.
Duration seconds_to_duration(double seconds_s);
double duration_to_seconds(Duration span);

/// Unix seconds <-> Time, with the same rounding and saturation.
Time from_unix_seconds(double unix_s);
double to_unix_seconds(Time time);

/// RFC 3339 section 5.6 "date-time": T or t or a space, fraction of any length (cut after
/// microseconds), Z or z or a numeric offset, hours 00-23, second 60 accepted (as the first moment
/// of the next minute). Nothing else is accepted; surrounding space is an error.
std::optional<Time> parse_rfc3339(std::string_view text);

/// A calendar date "2031-03-01" alone (midnight UTC) or any RFC 3339 date-time.
std::optional<Time> parse_date_or_time(std::string_view text);

/// "2031-03-01T12:00:00Z"; a fraction (milliseconds or microseconds) only where it is not zero.
std::string format_rfc3339(Time time);

/// "90s", "15m", "1.5h", "2d", "1w", "5y" (365 days); units ms s m h d w y; a bare number is refused, since
/// nobody can tell seconds from minutes in it. Negative spans are refused.
std::optional<Duration> parse_span(std::string_view text);

/// The shortest exact form of the same notation in one unit: "15m", "90s", "1500ms".
std::string format_span(Duration span);

}  // namespace fadeward
