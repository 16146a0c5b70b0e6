#include "fadeward/report/put.hpp"

namespace fadeward::report {

namespace {

bool is_whole(Field field) {
  switch (field) {
    case Field::channel:
    case Field::spreading_factor: return true;
    case Field::uptime_s: return false;
    default: return field_info(field).kind == FieldKind::counter;
  }
}

}  // namespace

std::array<Limits, kFields> make_limits() {
  std::array<Limits, kFields> limits;
  for (std::size_t i = 0; i < kFields; ++i) {
    const auto field = static_cast<Field>(i);
    const FieldInfo& info = field_info(field);
    limits[i] = {info.lowest, info.highest, is_whole(field)};
  }
  return limits;
}

bool put_time(LinkReport& report, double unix_s) {
  const Limits& limits = kLimits[static_cast<unsigned>(Field::far_time)];
  report.timed = unix_s >= limits.lowest && unix_s <= limits.highest;
  if (report.timed) report.time = from_unix_seconds(unix_s);
  return report.timed;
}

bool put_time(LinkReport& report, Time time) {
  const Limits& limits = kLimits[static_cast<unsigned>(Field::far_time)];
  report.timed =
      time >= from_unix_seconds(limits.lowest) && time <= from_unix_seconds(limits.highest);
  if (report.timed) report.time = time;
  return report.timed;
}

bool put_time_text(LinkReport& report, std::string_view text) {
  const auto time = parse_rfc3339(text);
  report.timed = false;
  return time && put_time(report, *time);
}

bool put_far_time_text(LinkReport& report, std::string_view text) {
  const auto time = parse_rfc3339(text);
  if (time) return put(report, Field::far_time, to_unix_seconds(*time));
  remove(report, Field::far_time);
  return false;
}

}  // namespace fadeward::report
