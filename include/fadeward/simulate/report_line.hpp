// An exchange as the canonical report that the gateway would write.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "fadeward/simulate/link_model.hpp"

namespace fadeward::simulate {

/// What all reports of a world have in common.
struct ReportStyle {
  std::uint64_t omitted = 0;                       ///< bit n: Field(n) is left out
  std::uint64_t seq_mask = ~std::uint64_t{0};      ///< frame numbers and counters wrap behind
  std::uint64_t counter_mask = ~std::uint64_t{0};  ///< these masks
};

/// Writes one JSON object without a newline over `line`. `link_json` is the link's name as a JSON
/// string, quotes included. Times have milliseconds. The site's readings are absent until it has
/// heard a frame. Only for exchanges whose inbound frame was heard.
void write_report(std::string& line, std::string_view link_json, const Exchange& exchange,
                  const ReportStyle& style);

}  // namespace fadeward::simulate
