// GET /: all links at a glance for a person.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/judge/snapshot.hpp"
#include "fadeward/publish/program_state.hpp"

namespace fadeward::publish {

/// A whole HTML document: version, active alerts (the worst first), a table of links with margin
/// both ways and their state in words, ports, and the other addresses of the server. It works
/// without a script, refreshes itself and takes its looks from landing_style().
std::string landing_page(const judge::Snapshot& snapshot, const ProgramState& program,
                         const BuildInfo& build);

/// The style sheet, for light and dark surroundings. A document of its own, so that the page can
/// forbid everything inline.
std::string_view landing_style();

}  // namespace fadeward::publish
