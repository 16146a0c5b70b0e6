#include "fadeward/publish/web_address.hpp"

#include <algorithm>
#include <charconv>

namespace fadeward::publish {

namespace {

/// Host and port of "host", "host:port", "[v6]" or "[v6]:port".
bool split_authority(std::string_view text, WebAddress& out) {
  std::string_view port;
  if (text.starts_with('[')) {
    const auto close = text.find(']');
    if (close == text.npos) return false;
    out.host = text.substr(1, close - 1);
    text.remove_prefix(close + 1);
    if (!text.empty() && text.front() != ':') return false;
    port = text.empty() ? text : text.substr(1);
  } else {
    const auto colon = std::min(text.find(':'), text.size());
    out.host = text.substr(0, colon);
    port = colon < text.size() ? text.substr(colon + 1) : "";
  }
  if (out.host.empty()) return false;
  if (port.empty()) return true;
  const auto [end, failed] = std::from_chars(port.data(), port.data() + port.size(), out.port);
  return failed == std::errc{} && end == port.data() + port.size() && out.port != 0;
}

}  // namespace

std::optional<WebAddress> split_web_address(std::string_view url) {
  WebAddress out;
  const std::string_view scheme = url.substr(0, std::min(url.find("://"), url.size()));
  if (scheme != "http" && scheme != "https") return {};
  std::string_view rest = url.substr(std::min(url.size(), scheme.size() + 3));
  rest = rest.substr(0, rest.find('#'));
  out.tls = scheme == "https";
  const std::uint16_t usual = out.tls ? 443 : 80;
  const auto authority_end = std::min(rest.find_first_of("/?"), rest.size());
  std::string_view authority = rest.substr(0, authority_end);
  if (const auto at = authority.rfind('@'); at != authority.npos) authority.remove_prefix(at + 1);
  if (!split_authority(authority, out)) return {};
  if (out.port == 0) out.port = usual;
  rest.remove_prefix(authority_end);
  const auto query = std::min(rest.find('?'), rest.size());
  out.query = rest.substr(query);
  out.path = rest.substr(0, query);
  if (out.path.empty()) out.path = "/";
  const bool v6 = out.host.find(':') != std::string::npos;
  out.authority = v6 ? "[" + out.host + "]" : out.host;
  if (out.port != usual) out.authority += ":" + std::to_string(out.port);
  out.label = std::string(scheme) + "://" + std::string(authority);
  if (out.path != "/") out.label += out.path;
  return out;
}

std::string join_path(std::string_view path, std::string_view more) {
  while (path.ends_with('/')) path.remove_suffix(1);
  return std::string(path) + std::string(more);
}

}  // namespace fadeward::publish
