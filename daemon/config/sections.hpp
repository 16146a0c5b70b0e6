// The tables of the file: one function per map that has a file of its own.
#pragma once

#include "fadeward/base/settings.hpp"
#include "section.hpp"

namespace fadeward::config {

const Section<Settings>& document_section();
const Section<HttpSettings>& http_section();
const Section<MetricsSettings>& metrics_section();
const Section<HistorySettings>& history_section();
const Section<PushSettings>& push_section();
const Section<PortSettings>& port_section();
const Section<RadioSettings>& radio_section();
const Section<BudgetSettings>& budget_section();
const Section<RuleSettings>& rule_section();
const Section<AlertSettings>& alert_section();
const Section<LinkSettings>& link_section();
const Section<LinkSettings>& defaults_section();

/// Reads `external_labels`.
bool read_labels(Reading& reading, const Node& node, std::map<std::string, std::string>& out);

/// What only the whole file shows: repeated names, references, links that claim the same reports.
void check_references(Reading& reading, const Settings& settings);

}  // namespace fadeward::config
