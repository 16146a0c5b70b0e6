#include "fadeward/publish/snapshot_json.hpp"

#include "fadeward/base/json_text.hpp"

namespace fadeward::publish {

namespace {

/// "none" means that there is no such value: null.
template <class Source>
std::string_view source_name(Source source) {
  return source == Source::none ? std::string_view{} : name_of(source);
}

void append_interval(std::string& out, const judge::Interval& interval) {
  out += '{';
  json::count(out, "reports", interval.reports);
  json::count(out, "lost", interval.lost);
  json::rounded(out, "signal_median_dbm", interval.signal_median_dbm, 2);
  json::rounded(out, "noise_median_dbm", interval.noise_median_dbm, 2);
  out += '}';
}

}  // namespace

void append_direction_values(std::string& out, const judge::DirectionSnapshot& values) {
  json::count(out, "reports", values.reports);
  json::seconds(out, "window_s", values.window);
  json::rounded(out, "signal_dbm", values.signal_dbm, 2);
  json::rounded(out, "noise_dbm", values.noise_dbm, 2);
  json::text_or_null(out, "noise_source", source_name(values.noise_source));
  json::rounded(out, "margin_db", values.margin_db, 2);
  json::rounded(out, "margin_stderr_db", values.margin_stderr_db, 3);
  json::rounded(out, "margin_low_db", values.margin_low_db, 2);
  json::ratio(out, "loss_ratio", values.loss_ratio);
  json::text_or_null(out, "loss_source", source_name(values.loss_source));
  json::rounded(out, "trend_db_per_day", values.trend_db_per_day, 4);
  json::rounded(out, "deficit_db", values.deficit_db, 2);
  if (values.has_reserve) json::rounded(out, "reserve_db", values.reserve_db, 2);
  json::text(out, "cause", name_of(values.cause));
}

void append_snapshot_line(std::string& out, Time time, std::string_view link, Direction direction,
                          const judge::DirectionSnapshot& values) {
  out += '{';
  json::text(out, "kind", "snapshot");
  json::seconds(out, "time", time.time_since_epoch());
  json::text(out, "link", link);
  json::text(out, "direction", name_of(direction));
  append_direction_values(out, values);
  json::key(out, "interval");
  append_interval(out, values.interval);
  out += "}\n";
}

}  // namespace fadeward::publish
