#include "fadeward/publish/links_json.hpp"

#include <array>

#include "fadeward/base/json_text.hpp"
#include "fadeward/publish/snapshot_json.hpp"
#include "family_table.hpp"

namespace fadeward::publish {

namespace {

using judge::AlertState;
using judge::DirectionSnapshot;
using judge::LinkSnapshot;
using judge::PortSnapshot;
using judge::Snapshot;

void append_rolling(std::string& out, const std::array<judge::Rolling, 3>& rolling) {
  out += '{';
  for (std::size_t w = 0; w < rolling.size(); ++w) {
    json::key(out, kWindowNames[w]);
    out += '{';
    json::rounded(out, "margin_db", rolling[w].margin_db, 2);
    json::ratio(out, "loss_ratio", rolling[w].loss_ratio);
    out += '}';
  }
  out += '}';
}

void append_direction(std::string& out, const DirectionSnapshot& values) {
  out += '{';
  append_direction_values(out, values);
  json::ratio(out, "expected_loss_ratio", values.expected_loss_ratio);
  json::rounded(out, "budget_margin_db", values.budget_margin_db, 2);
  json::rounded(out, "rician_k_db", values.rician_k_db, 1);
  json::rounded(out, "baseline_margin_db", values.baseline_margin_db, 2);
  json::rounded(out, "baseline_deficit_db", values.baseline_deficit_db, 2);
  json::ratio(out, "retry_ratio", values.retry_ratio);
  json::rounded(out, "tx_power_dbm", values.tx_power_dbm, 2);
  json::count(out, "frames_total", values.frames_total);
  json::count(out, "frames_lost_total", values.frames_lost_total);
  json::count(out, "retries_total", values.retries_total);
  json::key(out, "rolling");
  append_rolling(out, values.rolling);
  out += '}';
}

void append_alert(std::string& out, const AlertState& alert) {
  out += '{';
  json::text(out, "alert", name_of(alert.alert));
  json::text_or_null(out, "direction", alert.direction ? name_of(*alert.direction) : "");
  json::text(out, "severity", name_of(alert.severity));
  json::text(out, "cause", name_of(alert.cause));
  json::moment(out, "since", alert.since);
  json::moment(out, "onset", alert.onset);
  json::rounded(out, "size_db", alert.size_db, 2);
  json::rounded(out, "confidence", alert.confidence, 3);
  json::flag(out, "stale", alert.stale);
  json::text(out, "text", alert.text);
  out += '}';
}

/// The active alerts that `owned` accepts, as the value of "alerts".
template <class Owned>
void append_alerts(std::string& out, const Snapshot& snapshot, Owned owned) {
  json::key(out, "alerts");
  out += '[';
  bool first = true;
  for (const AlertState& alert : snapshot.alerts) {
    if (!alert.active || !owned(alert)) continue;
    if (!first) out += ',';
    first = false;
    append_alert(out, alert);
  }
  out += ']';
}

std::optional<double> as_number(const std::optional<int>& value) {
  return value ? std::optional<double>(*value) : std::optional<double>();
}

/// The pairs of one link without braces.
void append_link(std::string& out, const Snapshot& snapshot, std::size_t index) {
  const LinkSnapshot& link = snapshot.links[index];
  json::text(out, "link", link.name);
  json::flag(out, "up", link.up);
  json::flag(out, "upkeep", link.upkeep);
  json::moment(out, "last_report", link.last_report);
  json::seconds(out, "expect_s", link.expect);
  json::count(out, "reports_total", link.reports_total);
  json::count(out, "repeats_total", link.repeats_total);
  json::count(out, "late_total", link.late_total);
  json::count(out, "restarts_total", link.restarts_total);
  json::count(out, "foreign_total", link.foreign_total);
  json::rounded(out, "latency_s", link.latency_s, 6);
  json::rounded(out, "supply_v", link.supply_v, 3);
  json::rounded(out, "temperature_c", link.temperature_c, 2);
  json::rounded(out, "uptime_s", link.uptime_s, 3);
  json::rounded(out, "spreading_factor", as_number(link.spreading_factor), 0);
  json::rounded(out, "bandwidth_hz", link.bandwidth_hz, 3);
  for (std::size_t d = 0; d < kDirections; ++d) {
    json::key(out, name_of(static_cast<Direction>(d)));
    append_direction(out, link.directions[d]);
  }
  append_alerts(out, snapshot, [&](const AlertState& alert) { return alert.link == index; });
}

template <class Reason, std::size_t kCount>
void append_reasons(std::string& out, std::string_view name,
                    const std::array<std::uint64_t, kCount>& counts) {
  json::key(out, name);
  out += '{';
  for (std::size_t r = 0; r < kCount; ++r) {
    json::count(out, name_of(static_cast<Reason>(r)), counts[r]);
  }
  out += '}';
}

void append_port(std::string& out, const Snapshot& snapshot, std::size_t index) {
  const PortSnapshot& port = snapshot.ports[index];
  json::text(out, "port", port.name);
  json::flag(out, "up", port.up);
  json::text_or_null(out, "detail", port.detail);
  json::moment(out, "since", port.since);
  json::count(out, "faults_total", port.faults);
  append_reasons<DiscardReason>(out, "discarded_bytes_total", port.discarded_bytes);
  append_reasons<RejectReason>(out, "rejected_total", port.rejected);
  json::count(out, "unmatched_total", port.unmatched);
  json::count(out, "values_discarded_total", port.values_discarded);
  json::count(out, "unknown_keys_total", port.unknown_keys);
  json::count(out, "retimed_total", port.retimed);
  json::text_or_null(out, "last_rejected", port.last_rejected);
  json::moment(out, "last_rejected_at", port.last_rejected_at);
  json::text_or_null(out, "last_unmatched", port.last_unmatched);
  append_alerts(out, snapshot, [&](const AlertState& alert) {
    return alert.link == kNoLink && alert.port == index;
  });
}

template <class Append>
void append_array(std::string& out, std::string_view name, const Snapshot& snapshot,
                  std::size_t size, Append append) {
  json::key(out, name);
  out += '[';
  for (std::size_t i = 0; i < size; ++i) {
    out += i == 0 ? "\n{" : ",\n{";
    append(out, snapshot, i);
    out += '}';
  }
  out += ']';
}

}  // namespace

std::string links_json(const Snapshot& snapshot) {
  std::string out = "{";
  json::moment(out, "time", snapshot.time);
  json::flag(out, "clock_trusted", snapshot.clock_trusted);
  append_array(out, "links", snapshot, snapshot.links.size(), append_link);
  append_array(out, "ports", snapshot, snapshot.ports.size(), append_port);
  out += "}\n";
  return out;
}

std::optional<std::string> link_json(const Snapshot& snapshot, std::string_view name) {
  for (std::size_t i = 0; i < snapshot.links.size(); ++i) {
    if (snapshot.links[i].name != name) continue;
    std::string out = "{";
    json::moment(out, "time", snapshot.time);
    append_link(out, snapshot, i);
    out += "}\n";
    return out;
  }
  return {};
}

}  // namespace fadeward::publish
