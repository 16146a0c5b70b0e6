#include "scalar.hpp"

#include <charconv>
#include <cmath>
#include <limits>

#include "fadeward/base/text.hpp"
#include "utf8.hpp"

namespace fadeward::config {
namespace {

constexpr std::size_t kMaxNameBytes = 128;
constexpr std::size_t kMaxPathBytes = 4096;

std::string_view without_plus(std::string_view text) {
  const bool plus = text.size() > 1 && text[0] == '+' && text[1] != '-' && text[1] != '+';
  return plus ? text.substr(1) : text;
}

std::optional<std::int64_t> parse_whole(std::string_view text) {
  text = without_plus(text);
  std::int64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size()) return {};
  return value;
}

// Numbers in quotes are text to YAML, and somebody's mistake.
template <class V>
Reader<V> unquoted(std::string allowed, std::function<std::optional<V>(std::string_view)> convert) {
  auto read = scalar<V>(allowed, std::move(convert));
  return [allowed = std::move(allowed), read = std::move(read)](Reading& reading, const Node& node,
                                                                V& out) {
    if (node.kind != Node::Kind::text || node.plain) return read(reading, node, out);
    reading.refuse(node, allowed + ", without quotes");
    return false;
  };
}

template <class V>
Reader<V> whole_as(V low, V high, std::string_view unit) {
  std::string allowed =
      "a whole number from " + std::to_string(low) + " to " + std::to_string(high);
  if (!unit.empty()) allowed += " (" + std::string(unit) + ")";
  return unquoted<V>(allowed, [low, high](std::string_view text) -> std::optional<V> {
    const auto value = parse_whole(text);
    if (!value || *value < static_cast<std::int64_t>(low) ||
        *value > static_cast<std::int64_t>(high))
      return {};
    return static_cast<V>(*value);
  });
}

Reader<double> number_if(std::string allowed, std::function<bool(double)> fits) {
  return unquoted<double>(std::move(allowed),
                          [fits = std::move(fits)](std::string_view text) -> std::optional<double> {
                            const auto value = parse_number(text);
                            return value && fits(*value) ? value : std::nullopt;
                          });
}

bool has_control(std::string_view text) {
  while (!text.empty()) {
    const auto character = front_character(text);
    if (!character || is_control(character->code)) return true;
    text.remove_prefix(character->bytes);
  }
  return false;
}

std::optional<std::string> plain_text(std::string_view text, std::size_t most_bytes) {
  if (text.empty() || text.size() > most_bytes || has_control(text)) return {};
  return std::string(text);
}

std::string span_words(Duration low, Duration high) {
  return "a span of time with its unit (90s, 15m, 12h, 30d, 5y) from " + format_span(low) + " to " +
         format_span(high);
}

}  // namespace

std::optional<double> parse_number(std::string_view text) {
  text = without_plus(text);
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size() || !std::isfinite(value)) return {};
  return value;
}

std::string number_text(double value) {
  std::string out;
  append_number(out, value);
  return out;
}

Reader<double> number(double low, double high, std::string_view unit) {
  std::string allowed = "a number from " + number_text(low) + " to " + number_text(high);
  if (!unit.empty()) allowed += " (" + std::string(unit) + ")";
  return number_if(std::move(allowed), [=](double value) { return value >= low && value <= high; });
}

Reader<double> ratio() {
  return number_if("a ratio from 0 to 1 (10 % is 0.1)",
                   [](double value) { return value >= 0 && value <= 1; });
}

Reader<double> open_ratio() {
  return number_if("a ratio between 0 and 1 (99.9 % is 0.999)",
                   [](double value) { return value > 0 && value < 1; });
}

Reader<double> factor() {
  return number_if("a number other than 0", [](double value) { return value != 0; });
}

Reader<int> whole(int low, int high, std::string_view unit) { return whole_as(low, high, unit); }
Reader<std::uint32_t> whole_u32(std::uint32_t low, std::uint32_t high, std::string_view unit) {
  return whole_as(low, high, unit);
}
Reader<std::size_t> whole_size(std::size_t low, std::size_t high, std::string_view unit) {
  return whole_as(low, high, unit);
}

Reader<bool> flag() { return word_of<bool>({{"true", true}, {"false", false}}); }

Reader<Duration> span(Duration low, Duration high) {
  return scalar<Duration>(span_words(low, high),
                          [=](std::string_view text) -> std::optional<Duration> {
                            const auto value = parse_span(text);
                            return value && *value >= low && *value <= high ? value : std::nullopt;
                          });
}

Reader<Duration> span_or_off(Duration low, Duration high) {
  return scalar<Duration>("off, or " + span_words(low, high),
                          [=](std::string_view text) -> std::optional<Duration> {
                            if (text == "off") return Duration{0};
                            const auto value = parse_span(text);
                            return value && *value >= low && *value <= high ? value : std::nullopt;
                          });
}

Reader<std::uint64_t> bytes_or_off(std::uint64_t low) {
  const std::string least = std::to_string(low / 1000000) + "MB";
  return scalar<std::uint64_t>(
      "off, or a size with its unit (500MB, 2GB, 1TB) of at least " + least,
      [low](std::string_view text) -> std::optional<std::uint64_t> {
        if (text == "off") return 0;
        constexpr std::pair<std::string_view, double> kUnits[] = {
            {"MB", 1e6}, {"GB", 1e9}, {"TB", 1e12}};
        for (const auto& [unit, bytes] : kUnits) {
          if (!text.ends_with(unit)) continue;
          const auto number = parse_number(text.substr(0, text.size() - unit.size()));
          if (!number || !(*number * bytes >= static_cast<double>(low)) || *number * bytes > 1e15)
            return {};
          return static_cast<std::uint64_t>(*number * bytes);
        }
        return {};
      });
}

Reader<Time> moment() {
  return scalar<Time>("a date such as 2031-03-01 or an RFC 3339 time such as 2031-03-01T06:00:00Z",
                      [](std::string_view text) { return parse_date_or_time(text); });
}

Reader<std::string> name() {
  return scalar<std::string>("a name of 1 to 128 bytes without control characters",
                             [](std::string_view text) { return plain_text(text, kMaxNameBytes); });
}

Reader<std::string> text(std::size_t most_bytes) {
  return scalar<std::string>("text of 1 to " + std::to_string(most_bytes) + " bytes",
                             [=](std::string_view given) -> std::optional<std::string> {
                               if (given.empty() || given.size() > most_bytes) return {};
                               return std::string(given);
                             });
}

Reader<std::string> line(std::size_t most_bytes) {
  return scalar<std::string>(
      "text of 1 to " + std::to_string(most_bytes) + " bytes without control characters",
      [=](std::string_view given) { return plain_text(given, most_bytes); });
}

Reader<std::string> file_path() {
  return [](Reading& reading, const Node& node, std::string& out) {
    const auto given = node.kind == Node::Kind::text ? plain_text(node.text, kMaxPathBytes)
                                                     : std::optional<std::string>();
    if (!given) {
      reading.refuse(node, "a path of 1 to 4096 bytes without control characters");
      return false;
    }
    out = reading.resolve(*given);
    return true;
  };
}

}  // namespace fadeward::config
