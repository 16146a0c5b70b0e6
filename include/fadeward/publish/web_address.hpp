// A web address taken apart: where to connect, what to ask for, and how to name it in public.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace fadeward::publish {

struct WebAddress {
  bool tls = false;
  std::string host;        ///< without the brackets of IPv6
  std::uint16_t port = 0;  ///< that of the scheme where the address names none
  std::string path;        ///< begins with "/"; without the query
  std::string query;       ///< with its "?"; empty: none. It may hold a secret
  std::string authority;  ///< for the Host header: host, and the port where it is not the usual one
  /// scheme://host:port/path as written, without query and user information: for logs and metrics.
  std::string label;
};

/// RFC 3986, http and https only. Empty where it is no such address.
std::optional<WebAddress> split_web_address(std::string_view url);

/// The path with more behind it: "/am/" and "/api" give "/am/api".
std::string join_path(std::string_view path, std::string_view more);

}  // namespace fadeward::publish
