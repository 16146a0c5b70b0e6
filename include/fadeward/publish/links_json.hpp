// /links: the newest snapshot for programs and for whoever looks with a terminal.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fadeward/judge/snapshot.hpp"

namespace fadeward::publish {

/// {"time":"...","clock_trusted":true,"links":[...],"ports":[...]}. Every configured link and port
/// is there; a value not known is null. One object per link: name, state and counters, then
/// "inbound" and "outbound" with the keys of the snapshot line and the rolling windows, then the
/// active "alerts". A port tells the last frame that it could not read.
std::string links_json(const judge::Snapshot& snapshot);

/// The object of one link with the "time" of the snapshot in front; empty if there is no such link.
std::optional<std::string> link_json(const judge::Snapshot& snapshot, std::string_view name);

}  // namespace fadeward::publish
