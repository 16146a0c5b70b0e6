#include "address.hpp"

#include <arpa/inet.h>

#include <algorithm>
#include <array>
#include <charconv>

namespace fadeward::config {
namespace {

bool is_one_of(char c, std::string_view set) { return set.find(c) != set.npos; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }

bool is_address(int family, std::string_view host) {
  std::array<unsigned char, 16> parsed{};
  return host.size() < 64 && host.find('\0') == host.npos &&
         inet_pton(family, std::string(host).c_str(), parsed.data()) == 1;
}

std::optional<int> parse_digits(std::string_view text, int most) {
  int value = 0;
  if (text.empty() || text.size() > 5 || !std::all_of(text.begin(), text.end(), is_digit))
    return {};
  std::from_chars(text.data(), text.data() + text.size(), value);
  if (value > most) return {};
  return value;
}

// RFC 1123 letters, digits, hyphens; underscores occur in local names. What looks like an IPv4
// address must be one.
bool is_host_name(std::string_view host) {
  if (host.empty() || host.size() > 253 || is_one_of(host.front(), ".-")) return false;
  const auto legal = [](char c) { return is_letter(c) || is_digit(c) || is_one_of(c, ".-_"); };
  if (!std::all_of(host.begin(), host.end(), legal)) return false;
  const auto numeric = [](char c) { return is_digit(c) || c == '.'; };
  return !std::all_of(host.begin(), host.end(), numeric) || is_address(AF_INET, host);
}

// Splits "host:port"; the host of "[v6]:port" comes without brackets and must be an address.
std::optional<std::pair<std::string_view, std::string_view>> split(std::string_view text) {
  if (!text.empty() && text.front() == '[') {
    const auto close = text.find("]:");
    if (close == text.npos || !is_address(AF_INET6, text.substr(1, close - 1))) return {};
    return std::pair(text.substr(1, close - 1), text.substr(close + 2));
  }
  const auto colon = text.find(':');
  if (colon == text.npos || !is_host_name(text.substr(0, colon))) return {};
  return std::pair(text.substr(0, colon), text.substr(colon + 1));
}

bool is_authority(std::string_view text) {
  if (is_host_name(text)) return true;
  if (text.size() > 2 && text.front() == '[' && text.back() == ']')
    return is_address(AF_INET6, text.substr(1, text.size() - 2));
  return parse_endpoint(text).has_value();
}

}  // namespace

std::optional<Endpoint> parse_endpoint(std::string_view text, bool zero_port) {
  const auto parts = split(text);
  if (!parts) return {};
  const auto port = parse_digits(parts->second, 65535);
  if (!port || (*port == 0 && !zero_port)) return {};
  return Endpoint{std::string(parts->first), static_cast<std::uint16_t>(*port)};
}

std::string endpoint_text(std::string_view host, std::uint16_t port) {
  const bool v6 = host.find(':') != host.npos;
  return (v6 ? '[' + std::string(host) + ']' : std::string(host)) + ':' + std::to_string(port);
}

bool is_numeric_address(std::string_view host) {
  return is_address(AF_INET, host) || is_address(AF_INET6, host);
}

bool is_loopback(std::string_view host) {
  if (host == "localhost") return true;
  if (is_address(AF_INET, host)) return host.substr(0, 4) == "127.";
  std::array<unsigned char, 16> parsed{};
  if (!is_address(AF_INET6, host)) return false;
  inet_pton(AF_INET6, std::string(host).c_str(), parsed.data());
  return std::all_of(parsed.begin(), parsed.end() - 1, [](auto byte) { return byte == 0; }) &&
         parsed.back() == 1;
}

bool is_network(std::string_view text) {
  const auto slash = text.find('/');
  const auto host = text.substr(0, slash);
  if (!is_numeric_address(host)) return false;
  const int bits = is_address(AF_INET, host) ? 32 : 128;
  return slash == text.npos || parse_digits(text.substr(slash + 1), bits).has_value();
}

bool is_web_address(std::string_view url) {
  const auto scheme = url.find("://");
  if (scheme == url.npos || url.size() > 2048) return false;
  if (url.substr(0, scheme) != "http" && url.substr(0, scheme) != "https") return false;
  const auto rest = url.substr(scheme + 3);
  const auto path = std::min(rest.find('/'), rest.size());
  const auto visible = [](char c) {
    return c > ' ' && c < '\x7f' && !is_one_of(c, "\"<>\\^`{|}#");
  };
  return is_authority(rest.substr(0, path)) && std::all_of(rest.begin(), rest.end(), visible);
}

}  // namespace fadeward::config
