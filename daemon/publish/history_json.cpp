#include "fadeward/publish/history_json.hpp"

#include <algorithm>
#include <charconv>
#include <map>
#include <set>

#include "escape.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/history/quantity.hpp"

namespace fadeward::publish {

namespace {

constexpr std::string_view kJson = "application/json";
constexpr std::int64_t kGoodPoints = 1000;
constexpr Duration kEarliest = std::chrono::hours{0};
constexpr Duration kLatest = std::chrono::hours{24} * 365 * 230;  // of the epoch

HttpAnswer refuse(std::string_view why, const std::vector<std::string>& allowed = {}) {
  std::string body = "{\"error\":";
  append_json_string(body, why);
  if (!allowed.empty()) {
    body += ",\"allowed\":[";
    for (std::size_t i = 0; i < allowed.size(); ++i) {
      if (i > 0) body += ',';
      append_json_string(body, allowed[i]);
    }
    body += ']';
  }
  return HttpAnswer::of(400, kJson, body + "}\n");
}

/// Decoded parameters; a "+" is a space, as forms send it. Empty: a bad escape or a name twice.
std::optional<std::map<std::string, std::string>> parameters_of(std::string_view target) {
  std::map<std::string, std::string> out;
  const auto question = target.find('?');
  if (question == std::string_view::npos) return out;
  target = target.substr(question + 1);
  target = target.substr(0, target.find('#'));
  while (!target.empty()) {
    const std::string_view part = target.substr(0, target.find('&'));
    target.remove_prefix(std::min(target.size(), part.size() + 1));
    if (part.empty()) continue;
    const auto equals = part.find('=');
    const auto decode = [](std::string_view text) {
      std::string plain(text);
      std::ranges::replace(plain, '+', ' ');
      return percent_decode(plain);
    };
    const auto name = decode(part.substr(0, equals));
    const auto value = decode(equals == std::string_view::npos ? "" : part.substr(equals + 1));
    if (!name || !value || !out.emplace(*name, *value).second) return {};
  }
  return out;
}

std::optional<double> number_of(std::string_view text) {
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return {};
  return value;
}

std::optional<Time> time_of(std::string text) {
  std::optional<Time> time;
  if (const auto unix_s = number_of(text)) {
    time = from_unix_seconds(*unix_s);
  } else {
    time = parse_date_or_time(text);
    if (!time) {  // "+01:00" came as a space
      std::ranges::replace(text, ' ', '+');
      time = parse_date_or_time(text);
    }
  }
  if (time && (time->time_since_epoch() < kEarliest || time->time_since_epoch() > kLatest))
    return {};
  return time;
}

std::optional<Duration> step_of(std::string_view text) {
  std::optional<Duration> step = parse_span(text);
  if (const auto seconds = number_of(text)) step = seconds_to_duration(*seconds);
  if (!step || *step <= Duration{} || *step > kLatest) return {};
  return (*step + kBinSpan - Duration{1}) / kBinSpan * kBinSpan;
}

Duration good_step(Duration span) {
  using namespace std::chrono_literals;
  for (const Duration step : {Duration{15min}, Duration{1h}, Duration{6h}, Duration{24h}})
    if (span / step < kGoodPoints) return step;
  return 24h * 7;
}

Time floor_to(Time at, Duration step) { return at - at.time_since_epoch() % step; }

void append_seconds(std::string& out, Time at) {
  append_number(
      out, std::int64_t{std::chrono::floor<std::chrono::seconds>(at).time_since_epoch().count()});
}

}  // namespace

HttpAnswer HistoryJson::answer(const HttpRequest& request, const std::vector<std::string>& links,
                               Time now) const {
  static const std::vector<std::string> known = {"link", "direction", "quantity",
                                                 "from", "to",        "step"};
  auto asked = parameters_of(request.target);
  if (!asked) return refuse("a parameter comes twice or has a bad escape");
  for (const auto& [name, value] : *asked)
    if (std::ranges::find(known, name) == known.end())
      return refuse("unknown parameter \"" + name + "\"", known);

  const history::Quantity* quantity = history::find_quantity((*asked)["quantity"]);
  if (quantity == nullptr) {
    std::vector<std::string> names;
    for (const history::Quantity& one : history::quantities()) names.emplace_back(one.name);
    return refuse("quantity: " + ((*asked)["quantity"].empty()
                                      ? "missing"
                                      : "there is no \"" + (*asked)["quantity"] + "\""),
                  names);
  }
  Direction direction = Direction::inbound;
  if (const std::string& word = (*asked)["direction"]; word == name_of(Direction::outbound))
    direction = Direction::outbound;
  else if (!word.empty() && word != name_of(Direction::inbound))
    return refuse("direction: there is no \"" + word + "\"", {"inbound", "outbound"});

  auto reader = history::Reader::open(dir_);
  std::string link = (*asked)["link"];
  if (link.empty() && links.size() == 1) link = links[0];
  if (std::ranges::find(links, link) == links.end()) {
    std::set<std::string> names(links.begin(), links.end());
    if (reader)
      for (std::string& name : reader->links()) names.insert(std::move(name));
    if (link.empty() || !names.contains(link))
      return refuse("link: " + (link.empty() ? "missing" : "there is no \"" + link + "\""),
                    {names.begin(), names.end()});
  }

  const std::optional<Time> to = (*asked)["to"].empty() ? now : time_of((*asked)["to"]);
  if (!to) return refuse("to: Unix seconds, a date or an RFC 3339 time");
  const std::optional<Time> from =
      (*asked)["from"].empty() ? *to - std::chrono::hours{24} : time_of((*asked)["from"]);
  if (!from) return refuse("from: Unix seconds, a date or an RFC 3339 time");
  if (*from >= *to) return refuse("from must lie before to");
  const std::optional<Duration> step =
      (*asked)["step"].empty() ? good_step(*to - *from) : step_of((*asked)["step"]);
  if (!step) return refuse("step: a span such as 15m, 1h or 1d, or seconds");
  const Time first = floor_to(*from, *step);
  const std::int64_t points = (*to - first + *step - Duration{1}) / *step;
  if (points > kMostPoints)
    return refuse(std::to_string(points) + " points are more than " + std::to_string(kMostPoints) +
                  "; a longer step or a shorter period is needed");

  std::string body = "{\"link\":";
  append_json_string(body, link);
  body += ",\"direction\":\"" + std::string(name_of(direction)) + "\",\"quantity\":\"" +
          std::string(quantity->name) + "\",\"unit\":\"" + std::string(quantity->unit) +
          "\",\"from\":";
  append_seconds(body, *from);
  body += ",\"to\":";
  append_seconds(body, *to);
  body += ",\"step_s\":" +
          std::to_string(std::chrono::duration_cast<std::chrono::seconds>(*step).count()) +
          ",\"points\":[";
  Time next = first;
  const auto put = [&](Time at, const std::optional<double>& value) {
    body += next == first ? "[" : ",[";
    append_seconds(body, at);
    body += ',';
    if (value)
      append_rounded(body, *value, 6);
    else
      body += "null";
    body += ']';
    next = at + *step;
  };
  if (reader)
    reader->summaries(link, direction, first, *to, *step, [&](const history::Summary& sum) {
      while (next < sum.start) put(next, {});
      if (sum.start >= next) put(sum.start, quantity->value(sum));
    });
  while (next < *to) put(next, {});
  body += ']';
  if (reader && !reader->problems().empty()) {
    body += ",\"problems\":[";
    for (std::size_t i = 0; i < reader->problems().size(); ++i) {
      if (i > 0) body += ',';
      append_json_string(body, reader->problems()[i]);
    }
    body += ']';
  }
  return HttpAnswer::of(200, kJson, body + "}\n");
}

}  // namespace fadeward::publish
