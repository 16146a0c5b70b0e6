// GET /history: one quantity of one direction as a series.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "fadeward/history/reader.hpp"
#include "fadeward/publish/site.hpp"

namespace fadeward::publish {

/// /history?link=&direction=&quantity=&from=&to=&step=
///
/// `from`, `to`: Unix seconds, a date or RFC 3339; default: the day before `now`. `step`: a span
/// ("15m", "1h", "1d") or seconds, widened to a multiple of 15 min; default: the shortest of 15m,
/// 1h, 6h, 1d, 1w that makes at most 1000 points. `direction`: inbound if left out. `link` may be
/// left out where there is only one. The answer:
///
///     {"link":"weir","direction":"inbound","quantity":"margin_db","unit":"dB",
///      "from":1932768000,"to":1932854400,"step_s":900,"points":[[1932768000,21.4],[1932768900,null]]}
///
/// A point stands for the step that begins at its time; null: nothing is known of it. Spans merge
/// before the quantity is taken: a day's median is the median of the day's frames. What is missing
/// or not allowed is a 400 that lists what is; `problems` names months that could not be read.
class HistoryJson {
 public:
  static constexpr std::int64_t kMostPoints = 11000;

  /// `dir` may not exist yet: then there is no data.
  explicit HistoryJson(std::string dir) : dir_(std::move(dir)) {}

  /// On the HTTP thread. `links`: names that exist even without data.
  HttpAnswer answer(const HttpRequest& request, const std::vector<std::string>& links,
                    Time now) const;

 private:
  std::string dir_;
};

}  // namespace fadeward::publish
