// GET /: all links at a glance for a person.
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include "fadeward/judge/snapshot.hpp"
#include "fadeward/publish/program_state.hpp"
#include "fadeward/review/last_day.hpp"

namespace fadeward::publish {

/// What the page shows beside the snapshot.
struct LandingExtras {
  std::shared_ptr<const review::LastDays> last_days;  ///< null: no lines are drawn
  bool reviews = false;                               ///< /review/NAME answers
  bool renew = false;  ///< asked for as /?renew: the page loads itself again every 30 s
};

/// A whole HTML document: every link at a glance, the worst first, with margin both ways against
/// its warning level, the last day as a small line, days left, the likely cause in words and when
/// it was last heard; then the gravest alerts in full, ports, and the other addresses of the
/// server. It works without a script, renews itself where the reader asked for it (WCAG 2.2.1: a
/// page that moves under its reader by itself is none for all) and takes its looks from
/// landing_style(). Below 60 kB for a hundred links.
std::string landing_page(const judge::Snapshot& snapshot, const ProgramState& program,
                         const BuildInfo& build, const LandingExtras& extras = {});

/// The style sheet, for light and dark surroundings. A document of its own, so that the page can
/// forbid everything inline.
std::string_view landing_style();

}  // namespace fadeward::publish
