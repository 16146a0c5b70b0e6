// An invented world as a stream of reports with known truth.
//
//   auto world = simulate::World::make(options);
//   std::string line;
//   Time time;
//   while (world->next(line, time)) ...      // canonical reports in order of time
//
// Pure: reads no clock, opens nothing; the same options give the same bytes on every machine with
// the same mathematical library. Memory does not grow with the length of the world (apart from one
// line per shower), so years may be streamed. One thread at a time.
#pragma once

#include <memory>
#include <string>

#include "fadeward/base/result.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/simulate/scenario.hpp"

namespace fadeward::simulate {

class World {
 public:
  /// Errors: see make_plan.
  static Result<World> make(const Options& options);
  /// A world of one's own; for checks that need what no scenario offers. At least one link.
  explicit World(Plan plan, bool truth = false);

  World(World&&) noexcept;
  World& operator=(World&&) noexcept;
  ~World();

  /// Writes the next report over `line` (JSON, no newline) and its time into `time`; false at the
  /// end of the world. Times never decrease.
  bool next(std::string& line, Time& time);

  /// Truth lines complete by now, each with its newline; empty if there are none. An hour is
  /// complete once `next` has passed its end or returned false. Only with Options::truth; then call
  /// it at least once per simulated day, since lines wait in memory until taken.
  std::string take_truth();

  const Plan& plan() const;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace fadeward::simulate
