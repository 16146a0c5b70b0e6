// /alerts: what an Alertmanager v2 server accepts in POST /api/v2/alerts.
#pragma once

#include <chrono>
#include <map>
#include <string>
#include <string_view>

#include "fadeward/judge/snapshot.hpp"

namespace fadeward::publish {

/// How long an active alert is announced ahead: four times the usual minute between two posts.
/// A judge that has stopped thus stops its alerts too.
inline constexpr Duration kAlertAhead = std::chrono::minutes(4);

/// A JSON array with every alert of severity warning or critical, active or ended lately.
///
/// labels (the identity): alertname, link or port, direction where there is one, severity, and the
/// external labels (an alert's own label wins; names that are no label names and empty values are
/// left out). annotations: summary (the same sentence for every alert of a name), description
/// (this alert's text), cause, onset, size_db, confidence, stale where they are known.
/// startsAt: when it was raised. endsAt: of an active alert the time of the snapshot plus
/// kAlertAhead, else its end; never before startsAt.
std::string alerts_json(const judge::Snapshot& snapshot,
                        const std::map<std::string, std::string>& external_labels);

/// What an alert of this name means: one sentence without values.
std::string_view summary_of(AlertName alert);

}  // namespace fadeward::publish
