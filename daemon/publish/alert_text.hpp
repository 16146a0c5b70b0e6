// The parts of an alert in the shape of Alertmanager API v2 (postableAlert).
#pragma once

#include <map>
#include <string>
#include <string_view>

#include "fadeward/judge/snapshot.hpp"

namespace fadeward::publish {

/// Severity warning or critical, and its link or port is known: what is told to others.
bool is_alarm(const judge::Snapshot& snapshot, const judge::AlertState& alert);

/// The object of its labels with braces: its identity.
std::string alert_labels(const judge::Snapshot& snapshot, const judge::AlertState& alert,
                         const std::map<std::string, std::string>& external_labels);

/// The object of its annotations with braces.
std::string alert_annotations(const judge::AlertState& alert);

}  // namespace fadeward::publish
