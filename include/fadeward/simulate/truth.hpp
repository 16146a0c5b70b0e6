// What really happened, as JSON Lines beside the reports.
//
// First line: the world. Then, in order of time: the hours of every link and direction, and the
// changes, settings and showers as they begin. Keys carry their units as in the reports.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/simulate/link_model.hpp"
#include "fadeward/simulate/plan.hpp"

namespace fadeward::simulate {

/// {"kind":"world",...}: scenario, seed, span and the true levels of every link.
std::string world_line(const Plan& plan);

/// {"kind":"change","time":..,"link":..,"cause":..,"direction":..,"shape":..,"size_db":..,
/// "until":..} for faults and outages; {"kind":"setting",..} for known changes of power, which are
/// no faults; {"kind":"leaves",..,"loss_db":..} for summers that are listed, from when half of the
/// leaves are out until half are gone; {"kind":"upkeep",..,"note":..} for visits;
/// {"kind":"weather",..} for showers. Sorted by time; `direction` null where both directions or
/// neither are meant, `until` null where it lasts to the end; `full_at` is when a drift or a growing
/// cycle has its full size, `per_rain_db` what comes on top for each decibel of rain; collisions
/// have `size_ratio` instead of `size_db`.
std::vector<std::pair<Time, std::string>> story_lines(const Plan& plan);

/// Frames of one hour, one link, one direction.
class TruthHour {
 public:
  void add(const Frame& frame);

  /// Appends {"kind":"truth","time":..,"link":..,"direction":..,"margin_db":..,"margin_low_db":..,
  /// "signal_dbm":..,"noise_dbm":..,"frames":..,"lost":..,"loss_ratio":..} with a newline, and
  /// begins the next hour. `end` is the end of the hour, as in a snapshot of that time. Levels are
  /// medians over all frames sent, lost ones included; margin_low_db is exceeded by 99 % of them;
  /// all null where none was sent.
  void close(std::string& out, Time end, const std::string& link_json, Direction direction);

 private:
  std::vector<float> margin_db_, signal_dbm_, noise_dbm_;
  std::size_t lost_ = 0;
};

}  // namespace fadeward::simulate
