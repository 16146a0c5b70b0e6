#include "fadeward/publish/alerts_json.hpp"

#include <algorithm>

#include "alert_text.hpp"
#include "fadeward/base/json_text.hpp"
#include "fadeward/base/text.hpp"

namespace fadeward::publish {

namespace {

using judge::AlertState;
using judge::Snapshot;

/// [a-zA-Z_][a-zA-Z0-9_]*: Prometheus data model.
bool is_label_name(std::string_view name) {
  const auto is_letter = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
  };
  return !name.empty() && is_letter(name.front()) &&
         std::all_of(name.begin(), name.end(),
                     [&](char c) { return is_letter(c) || (c >= '0' && c <= '9'); });
}

bool of_link(const Snapshot& snapshot, const AlertState& alert) {
  return alert.link < snapshot.links.size();
}
bool of_port(const Snapshot& snapshot, const AlertState& alert) {
  return alert.link == kNoLink && alert.port < snapshot.ports.size();
}

bool is_own_label(std::string_view name) {
  return name == "alertname" || name == "link" || name == "port" || name == "direction" ||
         name == "severity";
}

void label(std::string& out, std::string_view name, std::string_view value) {
  if (!value.empty()) json::text(out, name, value);
}

/// Annotations are strings, numbers included.
void number(std::string& out, std::string_view name, const std::optional<double>& value,
            int decimals) {
  if (!value) return;
  std::string digits;
  append_rounded(digits, *value, decimals);
  json::text(out, name, digits);
}

Time end_of(const AlertState& alert, Time now) {
  const Time end = alert.active ? now + kAlertAhead : alert.ended.value_or(now);
  return std::max(end, alert.since);
}

}  // namespace

bool is_alarm(const Snapshot& snapshot, const AlertState& alert) {
  const bool told = alert.severity == Severity::warning || alert.severity == Severity::critical;
  return told && (of_link(snapshot, alert) || of_port(snapshot, alert));
}

std::string alert_labels(const Snapshot& snapshot, const AlertState& alert,
                         const std::map<std::string, std::string>& external_labels) {
  std::string out = "{";
  label(out, "alertname", name_of(alert.alert));
  if (of_link(snapshot, alert)) label(out, "link", snapshot.links[alert.link].name);
  if (of_port(snapshot, alert)) label(out, "port", snapshot.ports[alert.port].name);
  if (alert.direction) label(out, "direction", name_of(*alert.direction));
  label(out, "severity", name_of(alert.severity));
  for (const auto& [name, value] : external_labels) {
    if (is_label_name(name) && !is_own_label(name)) label(out, name, value);
  }
  out += '}';
  return out;
}

std::string alert_annotations(const AlertState& alert) {
  std::string out = "{";
  json::text(out, "summary", summary_of(alert.alert));
  if (!alert.text.empty()) json::text(out, "description", alert.text);
  if (alert.cause != Cause::none) json::text(out, "cause", name_of(alert.cause));
  if (alert.onset) json::moment(out, "onset", alert.onset);
  number(out, "size_db", alert.size_db, 2);
  number(out, "confidence", alert.confidence, 3);
  if (alert.stale) json::text(out, "stale", "true");
  out += '}';
  return out;
}

std::string_view summary_of(AlertName alert) {
  switch (alert) {
    case AlertName::MarginLow: return "The fade margin of a link direction is low.";
    case AlertName::MarginForecastLow:
      return "The fade margin of a link is on its way to being low.";
    case AlertName::BudgetDeficit: return "A link direction delivers less margin than its budget.";
    case AlertName::FadingSuspected: return "The path of a link has become worse.";
    case AlertName::InterferenceSuspected: return "Interference has reached a receiver of a link.";
    case AlertName::EquipmentSuspected: return "Equipment of a link has become worse.";
    case AlertName::LossHigh: return "A link direction loses too many frames.";
    case AlertName::RetriesHigh: return "A link needs too many retries.";
    case AlertName::LatencyHigh: return "Acknowledged frames of a link take too long.";
    case AlertName::LinkSilent: return "A link does not report.";
    case AlertName::HopUneven: return "The hop channels of a link are used unevenly.";
    case AlertName::DwellExceeded: return "A link stays longer on a channel than its rules allow.";
    case AlertName::DutyExceeded: return "A link transmits more than its rules allow.";
    case AlertName::ForeignFrames: return "A link hears frames of a foreign network.";
    case AlertName::RadioRestarted: return "A radio has restarted.";
    case AlertName::SettingChanged: return "A radio setting has changed.";
    case AlertName::PortFault: return "A port to a radio does not work.";
  }
  return "An alert of a radio link.";
}

std::string alerts_json(const Snapshot& snapshot,
                        const std::map<std::string, std::string>& external_labels) {
  std::string out = "[";
  for (const AlertState& alert : snapshot.alerts) {
    if (!is_alarm(snapshot, alert)) continue;
    out += out.size() == 1 ? "\n{" : ",\n{";
    out += "\"labels\":" + alert_labels(snapshot, alert, external_labels);
    out += ",\"annotations\":" + alert_annotations(alert);
    json::moment(out, "startsAt", alert.since);
    json::moment(out, "endsAt", end_of(alert, snapshot.time));
    out += '}';
  }
  out += "]\n";
  return out;
}

}  // namespace fadeward::publish
