// Which senders of datagrams are heard.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/result.hpp"

namespace fadeward::port {

/// An IPv6 address in network order; IPv4 stands in it as ::ffff:a.b.c.d (RFC 4291, 2.5.5.2).
using Address = std::array<std::uint8_t, 16>;

/// Numeric IPv4 or IPv6 address; names, ports and zones are refused.
std::optional<Address> parse_address(std::string_view text);

/// Networks in CIDR notation (RFC 4632, RFC 4291 2.3) or single addresses. Bits after the prefix
/// are ignored. An IPv6 network never covers an IPv4 sender: "::/0" is every IPv6 sender only.
class AllowList {
 public:
  /// The error names the entry and what is allowed.
  static Result<AllowList> parse(const std::vector<std::string>& entries);

  bool empty() const { return networks_.empty(); }
  bool contains(const Address& sender) const;

 private:
  struct Network {
    Address address{};
    unsigned bits = 0;  ///< of the 128
  };
  std::vector<Network> networks_;
};

}  // namespace fadeward::port
