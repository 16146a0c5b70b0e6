#include "fadeward/history/record.hpp"

namespace fadeward::history {

std::string_view name_of(EventChange value) {
  switch (value) {
    case EventChange::raised: return "raised";
    case EventChange::changed: return "changed";
    case EventChange::cleared: return "cleared";
  }
  return "none";
}

std::string_view name_of(MarkKind value) {
  switch (value) {
    case MarkKind::started: return "started";
    case MarkKind::stopped: return "stopped";
    case MarkKind::port_up: return "port_up";
    case MarkKind::port_down: return "port_down";
    case MarkKind::clock_step: return "clock_step";
    case MarkKind::undated: return "undated";
  }
  return "none";
}

std::string_view name_of(PeriodKind value) {
  switch (value) {
    case PeriodKind::upkeep: return "upkeep";
    case PeriodKind::baseline: return "baseline";
  }
  return "none";
}

}  // namespace fadeward::history
