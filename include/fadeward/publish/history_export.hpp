// The history as OpenMetrics text with timestamps, for backfilling a time-series database.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/history/reader.hpp"

namespace fadeward::publish {

struct HistoryExport {
  std::vector<std::string> links;  ///< in this order
  Time from = Time::min();
  Time to = Time::max();
  std::map<std::string, std::string> labels = {};  ///< onto every series; names as may_label()
};

/// A label name that no series has already.
bool may_label(std::string_view name);

/// Writes a family at a time, all samples of a series in order of time; a sample of a quarter hour
/// (or hour) has the time of its end, as a gauge that looks back. Counters begin at 0 with the
/// first sample of the export. Alerts of these links and of the ports: at the end of each quarter
/// hour while they are active, at least once, and 0 at the end of the next. Ends with "# EOF".
/// Memory does not grow with the history; every family reads it once. `write` false: the reader of
/// the text is gone; it ends early.
void export_history(history::Reader& reader, const HistoryExport& what,
                    const std::function<bool(std::string_view)>& write);

}  // namespace fadeward::publish
