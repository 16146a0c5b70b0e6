// http, metrics, history, push, external_labels: how the results leave the program.
#include <algorithm>
#include <array>

#include "address.hpp"
#include "fadeward/base/text.hpp"
#include "scalar.hpp"
#include "sections.hpp"

namespace fadeward::config {
namespace {

// "" serves nothing; localhost means the address, whatever the resolver says.
bool read_listen(Reading& reading, const Node& node, HttpSettings& out) {
  if (node.kind == Node::Kind::text && node.text.empty()) {
    out.disabled = true;
    return true;
  }
  auto endpoint =
      node.kind == Node::Kind::text ? parse_endpoint(node.text, true) : std::optional<Endpoint>();
  if (endpoint && endpoint->host == "localhost") endpoint->host = "127.0.0.1";
  if (!endpoint || !is_numeric_address(endpoint->host)) {
    reading.refuse(node,
                   "ADDRESS:PORT such as \"127.0.0.1:10868\" or \"[::1]:10868\" with a numeric "
                   "address and a port from 0 to 65535 (0: any free one), or \"\" for none");
    return false;
  }
  out.address = endpoint->host;
  out.port = endpoint->port;
  out.disabled = false;
  return true;
}

// What may hold a password is not shown in the message.
Reader<std::string> web_address() {
  return [](Reading& reading, const Node& node, std::string& out) {
    const bool text = node.kind == Node::Kind::text;
    if (text && is_web_address(node.text)) {
      out = node.text;
      return true;
    }
    if (text && node.text.find('@') != std::string::npos)
      reading.complain(
          node.place,
          "a web address with a user's name or password in it is not allowed: user and "
          "password_file are for these");
    else
      reading.refuse(node, "a web address such as http://127.0.0.1:9093");
    return false;
  };
}

// Both or neither; over plain HTTP the password could be read on the way, and an authority means
// nothing.
template <class T>
void check_target(Reading& reading, const Node& map, T& target) {
  if (map.find("user") != nullptr && map.find("password_file") == nullptr)
    reading.complain_at(map, "user", "password_file is missing");
  if (map.find("user") == nullptr && map.find("password_file") != nullptr)
    reading.complain_at(map, "password_file", "user is missing");
  if (!target.ca_file.empty() && !target.url.starts_with("https://"))
    reading.complain_at(map, "ca_file", "only for an address that begins with https://");
}

// RFC 7617: the user's name ends at the colon.
Reader<std::string> user_name() {
  return scalar<std::string>(
      "a user's name of at most 255 bytes without a colon",
      [](std::string_view text) -> std::optional<std::string> {
        const auto bad = [](char c) {
          return c == ':' || static_cast<unsigned char>(c) < 0x20 || c == 0x7f;
        };
        if (text.empty() || text.size() > 255 || std::any_of(text.begin(), text.end(), bad))
          return {};
        return std::string(text);
      });
}

template <class T>
std::vector<Key<T>> target_keys() {
  return {
      required(key<T>(
          "url", [](T& t) -> std::string& { return t.url; }, web_address())),
      key<T>(
          "user", [](T& t) -> std::string& { return t.user; }, user_name()),
      key<T>(
          "password_file", [](T& t) -> std::string& { return t.password_file; }, file_path()),
      key<T>(
          "ca_file", [](T& t) -> std::string& { return t.ca_file; }, file_path()),
  };
}

// Either the address alone or { url: ... }.
bool read_alertmanager(Reading& reading, const Node& node, AlertmanagerTarget& out) {
  static const Section<AlertmanagerTarget> section(target_keys<AlertmanagerTarget>(),
                                                   check_target<AlertmanagerTarget>);
  if (node.kind == Node::Kind::map) return section(reading, node, out);
  return web_address()(reading, node, out.url);
}

const Section<RemoteWriteSettings>& remote_write_section() {
  using T = RemoteWriteSettings;
  static const Section<T> section = [] {
    auto keys = target_keys<T>();
    keys.push_back(key<T>("interval", &T::interval, span(1s, 24h)));
    keys.push_back(key<T>("out_of_order", &T::out_of_order, flag()));
    keys.push_back(key<T>("max_sample_age", &T::max_sample_age, span(1min, 24h * 365)));
    return Section<T>(std::move(keys), check_target<T>);
  }();
  return section;
}

// The address tells targets apart in metrics and on disk.
void check_push(Reading& reading, const Node& map, PushSettings& push) {
  std::vector<std::string_view> urls;
  for (const auto& target : push.alertmanagers) {
    if (target.url.empty()) continue;
    if (std::find(urls.begin(), urls.end(), target.url) != urls.end())
      reading.complain_at(map, "alertmanagers",
                          "the same address twice: " + target.url.substr(0, target.url.find('?')));
    urls.push_back(target.url);
  }
}

bool is_own_label(std::string_view name) {
  static constexpr std::array<std::string_view, 6> kOwn = {"alertname", "severity", "link",
                                                           "direction", "port",     "cause"};
  return std::find(kOwn.begin(), kOwn.end(), name) != kOwn.end();
}

}  // namespace

bool read_labels(Reading& reading, const Node& node, std::map<std::string, std::string>& out) {
  if (node.kind != Node::Kind::map && node.kind != Node::Kind::nothing) {
    reading.refuse(node, "a map of label names and values");
    return false;
  }
  for_each_entry(reading, node, [&](const Entry& entry) {
    Reading::Step step(reading, entry.key);
    if (!is_label_name(entry.key)) {
      reading.complain(entry.place,
                       "no label name: letters, digits and underscores, not a digit first, not two "
                       "underscores first");
    } else if (is_own_label(entry.key)) {
      reading.complain(entry.place, "the program sets this label itself");
    } else {
      text(1024)(reading, *entry.value, out[entry.key]);
    }
  });
  return true;
}

const Section<HttpSettings>& http_section() {
  using T = HttpSettings;
  static const Section<T> section({
      {"listen", read_listen},
      key<T>("web_config", &T::web_config, file_path()),
      key<T>("reload", &T::enable_reload, flag()),
  });
  return section;
}

const Section<MetricsSettings>& metrics_section() {
  using T = MetricsSettings;
  static const Section<T> section({
      key<T>("channels", &T::channels, flag()),
  });
  return section;
}

const Section<HistorySettings>& history_section() {
  using T = HistorySettings;
  constexpr Duration kLongest = 24h * 365 * 100;
  static const Section<T> section({
      key<T>("dir", &T::dir, file_path()),
      key<T>("keep", &T::keep, span(24h, kLongest)),
      key<T>("keep_quarters", &T::keep_quarters, span(24h * 62, kLongest)),
      key<T>("keep_events", &T::keep_events, span(24h, kLongest)),
      key<T>("max_size", &T::max_bytes, bytes_or_off(50'000'000)),
  });
  return section;
}

const Section<PushSettings>& push_section() {
  using T = PushSettings;
  static const Section<T> section(
      {
          key<T>("alertmanagers", &T::alertmanagers,
                 list_of<AlertmanagerTarget>(read_alertmanager,
                                             "a list of at most 16 web addresses", 16)),
          key<T>("remote_write", &T::remote_write,
                 Reader<RemoteWriteSettings>(remote_write_section())),
      },
      check_push);
  return section;
}

}  // namespace fadeward::config
