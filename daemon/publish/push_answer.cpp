#include "fadeward/publish/push_answer.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>

#include "fadeward/base/text.hpp"

namespace fadeward::publish {

namespace {

constexpr Duration kLongest = std::chrono::hours{1};

std::optional<int> number(std::string_view text) {
  int value = 0;
  const auto [end, failed] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failed != std::errc{} || end != text.data() + text.size() || value < 0) return {};
  return value;
}

/// Prometheus up to 2.42 at least answers a sample beyond its out-of-order window with 500 and
/// these words: repeated, it would be asked forever (measured).
bool blames_time_by_mistake(const WebAnswer& answer) {
  return answer.status == 500 && answer.body.starts_with("too old sample");
}

/// IMF-fixdate, RFC 9110 section 5.6.7: "Sun, 06 Nov 1994 08:49:37 GMT".
std::optional<Time> parse_http_date(std::string_view text) {
  static constexpr std::array<std::string_view, 12> months = {
      "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  if (text.size() != 29 || text.substr(3, 2) != ", " || text.substr(25) != " GMT") return {};
  const auto month = std::find(months.begin(), months.end(), text.substr(8, 3));
  const auto day = number(text.substr(5, 2)), year = number(text.substr(12, 4));
  const auto hour = number(text.substr(17, 2)), minute = number(text.substr(20, 2)),
             second = number(text.substr(23, 2));
  if (month == months.end() || !day || !year || !hour || !minute || !second) return {};
  const std::chrono::year_month_day date{
      std::chrono::year{*year},
      std::chrono::month(static_cast<unsigned>(month - months.begin() + 1)),
      std::chrono::day(static_cast<unsigned>(*day))};
  if (!date.ok()) return {};
  return Time{std::chrono::sys_days{date}} + std::chrono::hours{*hour} +
         std::chrono::minutes{*minute} + std::chrono::seconds{*second};
}

}  // namespace

PushOutcome outcome_of(const WebAnswer& answer) {
  const unsigned status = answer.status;
  if (status >= 200 && status < 300) return PushOutcome::accepted;
  if (blames_time_by_mistake(answer)) return PushOutcome::poison;
  if (status == 0 || status == 408 || status == 425 || status == 429 || status >= 500)
    return PushOutcome::later;
  if (status == 400 || status == 409 || status == 422) return PushOutcome::poison;
  if (status == 413) return PushOutcome::too_large;
  return PushOutcome::refused;
}

std::optional<Duration> retry_after(std::string_view header, Time now) {
  if (header.empty()) return {};
  if (header.find_first_not_of("0123456789") == header.npos) {
    const auto seconds = number(header);
    return seconds ? std::min<Duration>(std::chrono::seconds{*seconds}, kLongest) : kLongest;
  }
  const auto date = parse_http_date(header);
  if (!date) return {};
  return std::clamp<Duration>(*date - now, Duration{0}, kLongest);
}

bool blames_time(std::string_view body) {
  static constexpr std::array<std::string_view, 6> words = {
      "out of order", "out-of-order",        "out of bounds",
      "too old",      "too far in the past", "duplicate sample"};
  return std::any_of(words.begin(), words.end(),
                     [body](std::string_view each) { return body.find(each) != body.npos; });
}

std::string describe(const WebAnswer& answer) {
  if (answer.status == 0) return answer.trouble.empty() ? "no answer" : answer.trouble;
  std::string out = "status " + std::to_string(answer.status);
  const std::string_view line = std::string_view(answer.body).substr(0, answer.body.find('\n'));
  if (!line.empty()) out += ": " + printable(line);
  return out;
}

}  // namespace fadeward::publish
