// A change of an alert: what the log, the replay and the logbook print.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "fadeward/base/report.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::judge {

enum class Change : std::uint8_t { raised, changed, cleared };
std::string_view name_of(Change value);

/// Owns its text; copies are independent of the supervisor.
struct Event {
  Time time{};                         ///< when the alert changed, in the wall clock of that moment
  LinkIndex link = kNoLink;            ///< kNoLink: the alert belongs to a port
  PortIndex port = kNoPort;            ///< kNoPort: the alert belongs to a link
  std::optional<Direction> direction;  ///< empty: both or neither
  Change change = Change::raised;
  AlertName alert = AlertName::MarginLow;
  Severity severity = Severity::none;  ///< cleared: the severity it had
  Cause cause = Cause::none;
  Shape shape = Shape::none;         ///< none is printed as null
  std::optional<Time> onset;         ///< when the condition began, as far as it is known
  std::optional<double> size_db;     ///< size of the change, where it is one in dB
  std::optional<double> confidence;  ///< 0..1, where a cause was weighed against others
  std::string text;                  ///< one sentence with values and units
};

/// One JSON object of contract section 4 with a newline. `link_name` and `port_name` stand for the
/// indices of the event; an empty name is written as null (port: left out).
void append_json(std::string& out, const Event& event, std::string_view link_name,
                 std::string_view port_name);

}  // namespace fadeward::judge
