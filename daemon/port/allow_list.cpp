#include "fadeward/port/allow_list.hpp"

#include <arpa/inet.h>

#include <algorithm>
#include <charconv>
#include <cstring>

namespace fadeward::port {

namespace {

constexpr std::array<std::uint8_t, 12> kMapped{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xff, 0xff};
constexpr unsigned kMappedBits = 96;

bool is_ipv4(const Address& address) {
  return std::equal(kMapped.begin(), kMapped.end(), address.begin());
}

bool same_prefix(const Address& a, const Address& b, unsigned bits) {
  const unsigned whole = bits / 8;
  if (!std::equal(a.begin(), a.begin() + whole, b.begin())) return false;
  const unsigned rest = bits % 8;
  return rest == 0 || ((a[whole] ^ b[whole]) >> (8 - rest)) == 0;
}

}  // namespace

std::optional<Address> parse_address(std::string_view text) {
  char copy[INET6_ADDRSTRLEN] = {};
  if (text.size() >= sizeof copy) return std::nullopt;
  text.copy(copy, text.size());
  if (std::strlen(copy) != text.size()) return std::nullopt;
  Address address{};
  if (::inet_pton(AF_INET6, copy, address.data()) == 1) return address;
  if (::inet_pton(AF_INET, copy, address.data() + kMapped.size()) != 1) return std::nullopt;
  std::copy(kMapped.begin(), kMapped.end(), address.begin());
  return address;
}

Result<AllowList> AllowList::parse(const std::vector<std::string>& entries) {
  AllowList list;
  for (const std::string& entry : entries) {
    const std::size_t slash = entry.find('/');
    const auto address = parse_address(std::string_view(entry).substr(0, slash));
    // The notation decides, not the value: ::ffff:0:0/96 is written with 128 bits.
    const bool ipv4 = entry.substr(0, slash).find(':') == std::string::npos;
    const unsigned most = ipv4 ? 32 : 128;
    unsigned bits = most;
    bool good = address.has_value();
    if (good && slash != std::string::npos) {
      const char* first = entry.data() + slash + 1;
      const char* last = entry.data() + entry.size();
      const auto [end, error] = std::from_chars(first, last, bits);
      good = error == std::errc{} && end == last && bits <= most;
    }
    if (!good) {
      return Error{"'" + entry.substr(0, 80) +
                   "' is no network: an address, or an address/prefix such as 192.0.2.0/24 or "
                   "2001:db8::/32"};
    }
    list.networks_.push_back({*address, ipv4 ? bits + kMappedBits : bits});
  }
  return list;
}

bool AllowList::contains(const Address& sender) const {
  const bool ipv4 = is_ipv4(sender);
  return std::any_of(networks_.begin(), networks_.end(), [&](const Network& network) {
    return (!ipv4 || network.bits >= kMappedBits) &&
           same_prefix(sender, network.address, network.bits);
  });
}

}  // namespace fadeward::port
