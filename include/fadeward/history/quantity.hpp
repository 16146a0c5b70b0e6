// The numbers that can be asked of a summary: one list for series, export and review.
#pragma once

#include <optional>
#include <span>
#include <string_view>

#include "fadeward/history/summary.hpp"

namespace fadeward::history {

struct Quantity {
  std::string_view name;    ///< "margin_db"
  std::string_view unit;    ///< "dB", "dBm", "ratio", "frames"
  std::string_view family;  ///< of /metrics where it is the same quantity; a counter ends in _total
  std::string_view meaning;  ///< one sentence
  bool counts;               ///< adds up over time
  /// Empty: nothing is known.
  std::optional<double> (*value)(const Summary&);
};

/// Lives as long as the program.
std::span<const Quantity> quantities();
/// Null: there is none of this name.
const Quantity* find_quantity(std::string_view name);

}  // namespace fadeward::history
