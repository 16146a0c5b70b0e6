// What the history keeps beside bins: events, marks in the life of the program, periods.
//
// Links and ports are named, not numbered: names outlive a configuration.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::history {

enum class EventChange : std::uint8_t { raised, changed, cleared };

/// A change of an alert; fields as in contract section 4.
struct EventRecord {
  Time time{};
  std::string link;                    ///< empty: the alert belongs to a port
  std::string port;                    ///< empty: the alert belongs to a link
  std::optional<Direction> direction;  ///< empty: both or neither
  EventChange change = EventChange::raised;
  AlertName alert = AlertName::MarginLow;
  Severity severity = Severity::none;
  Cause cause = Cause::none;
  Shape shape = Shape::none;
  std::optional<Time> onset;
  std::optional<double> size_db;
  std::optional<double> confidence;  ///< 0..1
  std::string text;
  bool operator==(const EventRecord&) const = default;
};

/// started, stopped: the program; what lies between a start and no stop ended with a crash or a
/// power cut. port_up, port_down: a port opened or lost. clock_step: the wall clock was put right;
/// `text` says by how much. undated: before this the program ran without ever knowing the time; `text`
/// says what it heard, which is in no figure.
enum class MarkKind : std::uint8_t { started, stopped, port_up, port_down, clock_step, undated };
inline constexpr int kMarkKinds = 6;

struct MarkRecord {
  Time time{};
  MarkKind kind = MarkKind::started;
  std::string port;  ///< of port_up and port_down
  std::string text;
  bool operator==(const MarkRecord&) const = default;
};

enum class PeriodKind : std::uint8_t { upkeep, baseline };

/// One kind, link, direction and beginning is one period: what is written later replaces it.
struct PeriodRecord {
  PeriodKind kind = PeriodKind::upkeep;
  std::string link;
  std::optional<Direction> direction;  ///< baseline: of the margin
  Time from{};
  Time to{};
  std::optional<double> margin_db;  ///< baseline: its median
  std::string note;
  bool operator==(const PeriodRecord&) const = default;
};

/// Contract spelling where there is one ("raised", "port_down", "upkeep").
std::string_view name_of(EventChange value);
std::string_view name_of(MarkKind value);
std::string_view name_of(PeriodKind value);

}  // namespace fadeward::history
