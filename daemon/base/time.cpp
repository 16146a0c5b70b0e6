#include "fadeward/base/time.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <limits>

namespace fadeward {

namespace {

constexpr double kMicro = 1e6;
constexpr std::int64_t kHighest = std::numeric_limits<std::int64_t>::max();
constexpr std::int64_t kLowest = std::numeric_limits<std::int64_t>::min();

std::int64_t rounded_micros(double seconds_s) {
  const double micros = seconds_s * kMicro;
  if (std::isnan(micros)) return 0;
  if (micros >= 9.2233720368547e18) return kHighest;
  if (micros <= -9.2233720368547e18) return kLowest;
  return std::llround(micros);
}

/// Reads from the front of a text; every reader says whether it could.
struct Cursor {
  std::string_view left;

  bool digits(int count, int& out) {
    if (left.size() < static_cast<std::size_t>(count)) return false;
    out = 0;
    for (int i = 0; i < count; ++i) {
      const char c = left[static_cast<std::size_t>(i)];
      if (c < '0' || c > '9') return false;
      out = out * 10 + (c - '0');
    }
    left.remove_prefix(static_cast<std::size_t>(count));
    return true;
  }
  bool one_of(std::string_view allowed) {
    if (left.empty() || allowed.find(left.front()) == std::string_view::npos) return false;
    left.remove_prefix(1);
    return true;
  }
};

std::optional<Time> read_date(Cursor& at) {
  int year = 0, month = 0, day = 0;
  if (!at.digits(4, year) || !at.one_of("-") || !at.digits(2, month) || !at.one_of("-") ||
      !at.digits(2, day))
    return {};
  const std::chrono::year_month_day date{std::chrono::year{year},
                                         std::chrono::month{static_cast<unsigned>(month)},
                                         std::chrono::day{static_cast<unsigned>(day)}};
  if (!date.ok()) return {};
  return Time{std::chrono::sys_days{date}};
}

bool read_fraction(Cursor& at, std::int64_t& micros) {
  micros = 0;
  if (!at.one_of(".")) return true;
  std::int64_t unit = 100000;
  std::size_t count = 0;
  while (!at.left.empty() && at.left.front() >= '0' && at.left.front() <= '9') {
    micros += (at.left.front() - '0') * unit;
    unit /= 10;
    at.left.remove_prefix(1);
    ++count;
  }
  return count > 0;
}

bool read_offset(Cursor& at, std::int64_t& offset_s) {
  if (at.one_of("Zz")) {
    offset_s = 0;
    return true;
  }
  if (at.left.empty() || (at.left.front() != '+' && at.left.front() != '-')) return false;
  const bool west = at.left.front() == '-';
  at.left.remove_prefix(1);
  int hours = 0, minutes = 0;
  if (!at.digits(2, hours) || !at.one_of(":") || !at.digits(2, minutes)) return false;
  if (hours > 23 || minutes > 59) return false;
  offset_s = (hours * 60 + minutes) * 60;
  if (west) offset_s = -offset_s;
  return true;
}

struct Unit {
  std::string_view name;
  std::int64_t micros;
};
constexpr std::array<Unit, 7> kUnits = {{{"y", 365LL * 86400 * 1000000},
                                         {"w", 7LL * 86400 * 1000000},
                                         {"d", 86400LL * 1000000},
                                         {"h", 3600LL * 1000000},
                                         {"m", 60LL * 1000000},
                                         {"s", 1000000},
                                         {"ms", 1000}}};

}  // namespace

Duration seconds_to_duration(double seconds_s) { return Duration{rounded_micros(seconds_s)}; }
double duration_to_seconds(Duration span) { return static_cast<double>(span.count()) / kMicro; }
Time from_unix_seconds(double unix_s) { return Time{Duration{rounded_micros(unix_s)}}; }
double to_unix_seconds(Time time) { return duration_to_seconds(time.time_since_epoch()); }

std::optional<Time> parse_rfc3339(std::string_view text) {
  Cursor at{text};
  const auto date = read_date(at);
  int hour = 0, minute = 0, second = 0;
  std::int64_t micros = 0, offset_s = 0;
  if (!date || !at.one_of("Tt ") || !at.digits(2, hour) || !at.one_of(":") ||
      !at.digits(2, minute) || !at.one_of(":") || !at.digits(2, second) ||
      !read_fraction(at, micros) || !read_offset(at, offset_s) || !at.left.empty())
    return {};
  if (hour > 23 || minute > 59 || second > 60) return {};
  return *date + std::chrono::hours{hour} + std::chrono::minutes{minute} +
         std::chrono::seconds{second - offset_s} + Duration{micros};
}

std::optional<Time> parse_date_or_time(std::string_view text) {
  Cursor at{text};
  if (text.size() == 10) return read_date(at);
  return parse_rfc3339(text);
}

std::string format_rfc3339(Time time) {
  const auto day = std::chrono::floor<std::chrono::days>(time);
  const std::chrono::year_month_day date{day};
  const std::chrono::hh_mm_ss clock{time - day};
  std::array<char, 64> text{};
  int length = std::snprintf(text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02d",
                             static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                             static_cast<unsigned>(date.day()), static_cast<int>(clock.hours().count()),
                             static_cast<int>(clock.minutes().count()),
                             static_cast<int>(clock.seconds().count()));
  std::string out(text.data(), static_cast<std::size_t>(length));
  const auto micros = static_cast<int>(clock.subseconds().count());
  if (micros != 0) {
    const bool whole_ms = micros % 1000 == 0;
    length = std::snprintf(text.data(), text.size(), whole_ms ? ".%03d" : ".%06d",
                           whole_ms ? micros / 1000 : micros);
    out.append(text.data(), static_cast<std::size_t>(length));
  }
  out += 'Z';
  return out;
}

std::optional<Duration> parse_span(std::string_view text) {
  double number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number,
                                            std::chars_format::fixed);
  if (error != std::errc{} || !(number >= 0) || text.front() == '-') return {};
  const std::string_view unit(end, static_cast<std::size_t>(text.data() + text.size() - end));
  for (const Unit& known : kUnits) {
    if (unit != known.name) continue;
    const double micros = number * static_cast<double>(known.micros);
    if (!(micros < 9.2e18)) return {};
    return Duration{std::llround(micros)};
  }
  return {};
}

std::string format_span(Duration span) {
  const std::int64_t micros = span.count();
  if (micros == 0) return "0s";
  for (const Unit& unit : kUnits) {
    if (unit.name == "y" || unit.name == "w") continue;
    if (micros % unit.micros == 0) {
      std::string out = std::to_string(micros / unit.micros);
      out += unit.name;
      return out;
    }
  }
  std::array<char, 40> text{};
  const auto [end, error] = std::to_chars(text.data(), text.data() + text.size(),
                                          static_cast<double>(micros) / 1000.0);
  (void)error;
  return std::string(text.data(), end) + "ms";
}

}  // namespace fadeward
