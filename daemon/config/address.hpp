// Hosts, networks and web addresses as text: checked, never looked up.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace fadeward::config {

struct Endpoint {
  std::string host;  ///< without the brackets of IPv6
  std::uint16_t port = 0;
};

/// "host:port" or "[v6]:port". Ports 1..65535, and 0 where it is allowed.
std::optional<Endpoint> parse_endpoint(std::string_view text, bool zero_port = false);

/// The endpoint with brackets where they are needed.
std::string endpoint_text(std::string_view host, std::uint16_t port);

bool is_numeric_address(std::string_view host);  ///< IPv4 or IPv6 (RFC 4291 text form)
bool is_loopback(std::string_view host);         ///< 127.0.0.0/8, ::1, localhost
bool is_network(std::string_view text);          ///< address or address/prefix length

/// http or https, host, optional port, optional path; no user information, no spaces.
bool is_web_address(std::string_view url);

}  // namespace fadeward::config
