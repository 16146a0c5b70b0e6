#include "fadeward/base/json_text.hpp"

#include <array>
#include <charconv>
#include <cmath>

#include "fadeward/base/text.hpp"

namespace fadeward::json {

void key(std::string& out, std::string_view name) {
  if (!out.empty() && out.back() != '{') out += ',';
  out += '"';
  out += name;
  out += "\":";
}

void text(std::string& out, std::string_view name, std::string_view value) {
  key(out, name);
  append_json_string(out, value);
}

void text_or_null(std::string& out, std::string_view name, std::string_view value) {
  key(out, name);
  if (value.empty()) {
    out += "null";
  } else {
    append_json_string(out, value);
  }
}

void flag(std::string& out, std::string_view name, bool value) {
  key(out, name);
  out += value ? "true" : "false";
}

void count(std::string& out, std::string_view name, std::uint64_t value) {
  key(out, name);
  append_number(out, value);
}

void rounded(std::string& out, std::string_view name, const std::optional<double>& value,
             int decimals) {
  key(out, name);
  if (value) {
    append_rounded(out, *value, decimals);
  } else {
    out += "null";
  }
}

void ratio(std::string& out, std::string_view name, const std::optional<double>& value) {
  key(out, name);
  if (!value || !std::isfinite(*value)) {
    out += "null";
    return;
  }
  std::array<char, 32> digits{};
  const double plain = *value == 0 ? 0 : *value;   // no "-0"
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), plain,
                                 std::chars_format::general, 6);
  out.append(digits.data(), end.ptr);
}

void seconds(std::string& out, std::string_view name, const std::optional<Duration>& value) {
  key(out, name);
  if (!value) {
    out += "null";
  } else if (value->count() % 1'000'000 == 0) {
    append_number(out, static_cast<std::int64_t>(value->count() / 1'000'000));
  } else {
    append_number(out, duration_to_seconds(*value));
  }
}

void moment(std::string& out, std::string_view name, const std::optional<Time>& value) {
  if (value) {
    text(out, name, format_rfc3339(*value));
  } else {
    text_or_null(out, name, {});
  }
}

}  // namespace fadeward::json
