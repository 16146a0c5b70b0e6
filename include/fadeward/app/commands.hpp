// The smaller commands.
#pragma once

#include <optional>
#include <string>

#include "fadeward/base/time.hpp"
#include "fadeward/simulate/scenario.hpp"

namespace fadeward::app {

int check(const std::string& config);

struct BudgetOptions {
  std::string config;
  std::string link;      ///< empty: all
  bool json = false;
};
int budget(const BudgetOptions& options);

struct ExportOptions {
  std::string history;   ///< directory
  std::string link;      ///< empty: all
  std::optional<Time> from, to;
};
int export_history(const ExportOptions& options);

struct SimulateOptions {
  simulate::Options world;
  std::string truth;     ///< path; empty: none
  double pace = 0;       ///< so many times faster than life; 0: as fast as possible
  std::string pty;       ///< path of a link to a pseudo-terminal that plays the radio; empty: stdout
};
int simulate_world(const SimulateOptions& options);

}  // namespace fadeward::app
