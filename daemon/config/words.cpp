#include "words.hpp"

#include "address.hpp"
#include "fadeward/base/text.hpp"

namespace fadeward::config {

std::string quoted(std::string_view text) {
  std::string out;
  append_json_string(out, text);
  return out;
}

std::string counted(std::size_t count, std::string_view thing) {
  return std::to_string(count) + ' ' + std::string(thing) + (count == 1 ? "" : "s");
}

bool open_to_network(const HttpSettings& http) {
  return !http.disabled && !is_loopback(http.address);
}

bool may_carry(const PortSettings& port, const LinkSettings& link) {
  return link.match.port.empty() || link.match.port == port.name;
}

}  // namespace fadeward::config
