// alerts: thresholds, how they clear, and how long they must hold.
#include "scalar.hpp"
#include "sections.hpp"

namespace fadeward::config {
namespace {

enum class Worse { lower, higher };  // which side of a threshold raises the alert

struct Threshold {
  std::string_view name;
  ThresholdSettings AlertSettings::*field;
  Worse worse;
  Reader<double> level;
  double clear_by_most;
};

bool in_order(Worse worse, double warning, double critical) {
  return worse == Worse::lower ? critical < warning : critical > warning;
}

// The file's own words on one level of an alert: in this map or in the defaults under it.
bool said(const Reading& reading, const Node& map, std::string_view alert, std::string_view level) {
  return map.find(level) != nullptr ||
         find(&reading.root, {"defaults", "alerts", alert, level}) != nullptr;
}

// Levels of the file that contradict each other are refused; a built-in one gives way.
void settle_order(Reading& reading, const Node& map, const Threshold& alert,
                  ThresholdSettings& out) {
  if (map.find("warning") == nullptr && map.find("critical") == nullptr) return;
  if (!out.warning || !out.critical || in_order(alert.worse, *out.warning, *out.critical)) return;
  const bool warning_said = said(reading, map, alert.name, "warning");
  const bool critical_said = said(reading, map, alert.name, "critical");
  if (warning_said && critical_said) {
    const bool lower = alert.worse == Worse::lower;
    const auto at = map.find("critical") != nullptr ? "critical" : "warning";
    reading.complain_at(map, at,
                        "critical (" + number_text(*out.critical) + ") must be " +
                            (lower ? "below" : "above") + " warning (" + number_text(*out.warning) +
                            ")");
  } else {
    (warning_said ? out.critical : out.warning).reset();
  }
}

Section<ThresholdSettings> threshold_section(const Threshold& alert) {
  using T = ThresholdSettings;
  const auto clear = alert.worse == Worse::lower ? "clear_above" : "clear_below";
  return Section<T>({
      key<T>("warning", &T::warning, alert.level),
      key<T>("critical", &T::critical, alert.level),
      key<T>(clear, &T::clear_by,
             number(0, alert.clear_by_most, "how far beyond the threshold, in the alert's unit")),
      key<T>("hold", &T::hold, span(0s, 24h * 7)),
  });
}

void switch_off(ThresholdSettings& out) {
  out.warning.reset();
  out.critical.reset();
}

Key<AlertSettings> threshold_key(const Threshold& alert) {
  const auto section = threshold_section(alert);
  auto read = [alert, section](Reading& reading, const Node& node, AlertSettings& out) {
    ThresholdSettings& target = out.*alert.field;
    if (node.kind == Node::Kind::text && node.text == "off") {
      switch_off(target);
      return true;
    }
    if (node.kind == Node::Kind::text || node.kind == Node::Kind::list) {
      reading.refuse(node,
                     "off, or a map { warning, critical, " +
                         std::string(alert.worse == Worse::lower ? "clear_above" : "clear_below") +
                         ", hold }");
      return false;
    }
    section(reading, node, target);
    settle_order(reading, node, alert, target);
    return true;
  };
  return {alert.name, std::move(read)};
}

std::vector<Key<AlertSettings>> alert_keys() {
  using T = AlertSettings;
  return {
      threshold_key({"margin_db", &T::margin_db, Worse::lower, number(-60, 150, "dB"), 100}),
      threshold_key({"deficit_db", &T::deficit_db, Worse::higher, number(0, 150, "dB"), 100}),
      threshold_key({"loss_ratio", &T::loss_ratio, Worse::higher, ratio(), 1}),
      threshold_key({"retry_ratio", &T::retry_ratio, Worse::higher, ratio(), 1}),
      threshold_key({"latency_s", &T::latency_s, Worse::higher, number(0, 86'400, "s"), 86'400}),
      threshold_key({"foreign_per_hour", &T::foreign_per_hour, Worse::higher,
                     number(0, 1e6, "frames per hour"), 1e6}),
      key<T>("silent", &T::silent, span(1s, 24h * 365)),
      key<T>("forecast_horizon", &T::forecast_horizon, span(24h, 24h * 3650)),
  };
}

}  // namespace

const Section<AlertSettings>& alert_section() {
  static const Section<AlertSettings> section(alert_keys());
  return section;
}

}  // namespace fadeward::config
