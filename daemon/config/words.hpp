// Small phrases that the description and the warnings share.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/base/settings.hpp"

namespace fadeward::config {

std::string quoted(std::string_view text);                       ///< "text" on one line
std::string counted(std::size_t count, std::string_view thing);  ///< "1 port", "2 ports"
bool open_to_network(const HttpSettings& http);

/// Whether the link may take reports of this port.
bool may_carry(const PortSettings& port, const LinkSettings& link);

}  // namespace fadeward::config
