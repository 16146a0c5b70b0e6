// `fadeward watch`: the daemon.
#pragma once

#include <optional>
#include <string>

#include "fadeward/base/settings.hpp"

namespace fadeward::app {

struct WatchOptions {
  std::string config;
  double time_factor = 1;          ///< demonstrations only: the program's time runs faster
  std::optional<Time> time_start;  ///< and begins here; empty: now
};

/// Runs until SIGTERM or SIGINT. Returns the exit code of contract section 1.
int watch(const WatchOptions& options);

}  // namespace fadeward::app
