// The web-config file: TLS and passwords in the format that the exporters of the Prometheus
// ecosystem share.
//
// https://github.com/prometheus/exporter-toolkit/blob/master/docs/web-configuration.md
// (v0.8, as `promtool check web-config` of Debian 12 knows it). Unknown keys are refused as in the
// main file. No value of a key or a password is ever shown in a message.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/base/result.hpp"
#include "fadeward/base/web_config.hpp"

namespace fadeward::config {

/// Pure. `file_name` serves messages and relative paths. An empty file protects nothing.
Result<WebConfig> parse_web_config(std::string_view yaml_text, std::string_view file_name);

/// Reads the file and parses it; the files that it names are not opened.
Result<WebConfig> load_web_config(const std::string& path);

/// What it protects, in a line for `fadeward check`: users by name, never a hash.
std::string describe(const WebConfig& config);

}  // namespace fadeward::config
