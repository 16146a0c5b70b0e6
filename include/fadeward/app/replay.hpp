// `fadeward replay`: recordings through the core under their own clock.
#pragma once

#include <cstdio>
#include <string>
#include <vector>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"

namespace fadeward::app {

struct ReplayOptions {
  std::vector<std::string> inputs;  ///< "-" is standard input
  Duration snapshots = std::chrono::hours{1};
  std::string history;  ///< directory to write the history to; empty: none
};

struct ReplaySummary {
  std::uint64_t lines = 0;
  std::uint64_t taken = 0;
  std::uint64_t syntax = 0;  ///< could not be read
  std::uint64_t empty = 0;
  std::uint64_t implausible = 0;
  std::uint64_t no_time = 0;
  std::uint64_t late = 0;
  std::uint64_t unmatched = 0;  ///< of links that are not configured
  std::uint64_t too_long = 0;
  std::uint64_t values_discarded = 0;
  std::uint64_t unknown_keys = 0;
  std::string last_rejected;   ///< printable
  std::string last_unmatched;  ///< printable

  std::uint64_t rejected() const {
    return syntax + empty + implausible + no_time + late + too_long;
  }
  std::string in_words() const;  ///< one line
};

/// A history that is there already is added to; quarter hours that it has are replaced.
///
/// Writes snapshots and events as JSON Lines to `output`. An error: an input that could not be read
/// to its end, or output that could not be written; what came before stands.
Result<ReplaySummary> replay(const Settings& settings, const ReplayOptions& options,
                             std::FILE* output);

}  // namespace fadeward::app
