// Alerts as spans of time, from the events that began and ended them.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/history/record.hpp"

namespace fadeward::review {

struct Episode {
  Time from{};  ///< onset where it is known, else when it was raised
  Time raised{};
  std::optional<Time> to;  ///< cleared; empty: it still stood at the end
  std::string port;        ///< of an alert of a port; else empty
  std::optional<Direction> direction;
  AlertName alert = AlertName::MarginLow;
  Severity severity = Severity::none;  ///< the worst that it had
  Cause cause = Cause::none;           ///< the last that was told
  Shape shape = Shape::none;
  std::optional<double> size_db;  ///< the last that was told while it stood, or at its end if larger
  std::string text;               ///< of the same
};

/// `events` in order of time. One that only changes or clears what was raised before the first
/// event begins at its own onset. In order of `from`. Text is bounded by what the events hold.
std::vector<Episode> episodes_of(const std::vector<history::EventRecord>& events);

/// A change of levels with its cause, not a threshold that it crossed.
bool tells_cause(const Episode& episode);

/// A path that came back by itself within two weeks, or swung more than usual for less than three.
bool passes_for_weather(const Episode& episode);

/// What a person should look for: "the path: leaves, an obstruction or weather".
std::string_view meaning_of(Cause cause);

}  // namespace fadeward::review
