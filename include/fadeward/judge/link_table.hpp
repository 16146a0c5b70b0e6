// Finds the link that a report belongs to.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/report.hpp"
#include "fadeward/base/settings.hpp"

namespace fadeward::judge {

/// Open addressing over (port, the radio's own name). A link bound to a port is found there only;
/// one without a port is found on every port. A report without a name belongs to the only link
/// of its port, if there is just one.
class LinkTable {
 public:
  /// `recording`: there are no ports; a link is found by its own name or the radio's name for it.
  LinkTable(const Settings& settings, bool recording);
  LinkIndex find(PortIndex port, std::string_view name) const;

 private:
  struct Slot {
    std::uint64_t hash = 0;
    std::string name;
    PortIndex port = kNoPort;
    LinkIndex link = kNoLink;
  };
  void insert(PortIndex port, const std::string& name, LinkIndex link);
  LinkIndex look(PortIndex port, std::string_view name) const;

  std::vector<Slot> slots_;
  std::vector<LinkIndex> only_;  ///< per port: its only link, or kNoLink
  LinkIndex only_of_all_ = kNoLink;
  bool ports_named_ = false;
};

}  // namespace fadeward::judge
