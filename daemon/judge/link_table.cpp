#include "fadeward/judge/link_table.hpp"

#include <bit>
#include <cstring>

namespace fadeward::judge {

namespace {

std::uint64_t mix(std::uint64_t h) {
  h *= 0x9fb21c651e98df25U;
  return h ^ h >> 31;
}

std::uint64_t hash_of(PortIndex port, std::string_view name) {
  std::uint64_t h = 0x51ed270b + port + (name.size() << 16);
  while (name.size() >= 8) {
    std::uint64_t word = 0;
    std::memcpy(&word, name.data(), 8);
    h = mix(h ^ word);
    name.remove_prefix(8);
  }
  // The last bytes without a call: from both ends, overlapping where they are fewer than four.
  const char* last = name.data();
  std::uint64_t rest = 0;
  if (name.size() >= 4) {
    std::uint32_t front = 0, back = 0;
    std::memcpy(&front, last, 4);
    std::memcpy(&back, last + name.size() - 4, 4);
    rest = front | std::uint64_t{back} << 32;
  } else if (!name.empty()) {
    const auto byte = [&](std::size_t i) { return std::uint64_t{static_cast<unsigned char>(last[i])}; };
    rest = byte(0) | byte(name.size() / 2) << 8 | byte(name.size() - 1) << 16;
  }
  return mix(h ^ rest);
}

}  // namespace

LinkTable::LinkTable(const Settings& settings, bool recording) {
  slots_.resize(std::bit_ceil(settings.links.size() * 8 + 8));
  only_.assign(settings.ports.size(), kNoLink);
  std::vector<int> counts(settings.ports.size(), 0);
  const auto port_of = [&](const std::string& name) {
    for (std::size_t p = 0; p < settings.ports.size(); ++p)
      if (settings.ports[p].name == name) return static_cast<PortIndex>(p);
    return kNoPort;
  };
  for (LinkIndex link = 0; link < settings.links.size(); ++link) {
    const LinkSettings& s = settings.links[link];
    const PortIndex port = recording || s.match.port.empty() ? kNoPort : port_of(s.match.port);
    if (recording) insert(kNoPort, s.name, link);
    insert(port, s.match.link.empty() ? s.name : s.match.link, link);
    for (std::size_t p = 0; p < only_.size(); ++p) {
      if (port != kNoPort && port != p) continue;
      ++counts[p];
      only_[p] = counts[p] == 1 ? link : kNoLink;
    }
    ports_named_ = ports_named_ || port != kNoPort;
  }
  if (settings.links.size() == 1) only_of_all_ = 0;
}

void LinkTable::insert(PortIndex port, const std::string& name, LinkIndex link) {
  if (look(port, name) != kNoLink) return;   // own names come first and stay
  const std::uint64_t hash = hash_of(port, name);
  std::size_t at = hash & (slots_.size() - 1);
  while (slots_[at].link != kNoLink) at = (at + 1) & (slots_.size() - 1);
  slots_[at] = {hash, name, port, link};
}

LinkIndex LinkTable::look(PortIndex port, std::string_view name) const {
  const std::uint64_t hash = hash_of(port, name);
  for (std::size_t at = hash & (slots_.size() - 1);; at = (at + 1) & (slots_.size() - 1)) {
    const Slot& slot = slots_[at];
    if (slot.link == kNoLink) return kNoLink;
    if (slot.hash == hash && slot.port == port && slot.name == name) return slot.link;
  }
}

LinkIndex LinkTable::find(PortIndex port, std::string_view name) const {
  if (name.empty()) return port < only_.size() ? only_[port] : only_of_all_;
  if (ports_named_ && port != kNoPort) {
    const LinkIndex link = look(port, name);
    if (link != kNoLink) return link;
  }
  return look(kNoPort, name);
}

}  // namespace fadeward::judge
