// `fadeward review`: what the history of links says, for a person or a program.
#pragma once

#include <optional>
#include <string>

#include "fadeward/base/time.hpp"

namespace fadeward::app {

struct ReviewOptions {
  std::string history;          ///< directory
  std::string config;           ///< for thresholds and budgets; empty: none
  std::string link;             ///< empty: all
  std::string from, to, split;  ///< dates or times as typed; empty: not said
  std::string format = "text";  ///< text, html, csv, json
  bool report = false;          ///< the performance report alone
};

/// Writes to standard output; progress to standard error where it is a terminal. Returns the exit
/// code of contract section 1.
int review(const ReviewOptions& options);

}  // namespace fadeward::app
