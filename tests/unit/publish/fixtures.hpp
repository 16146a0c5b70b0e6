// Hand-made snapshots, and a reader of the text format that knows nothing of the writer.
#pragma once

#include <chrono>
#include <cmath>
#include <cstdlib>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/judge/snapshot.hpp"
#include "fadeward/publish/exposition.hpp"
#include "fadeward/publish/program_state.hpp"

namespace fadeward::publish::testing {

using namespace std::chrono_literals;

inline constexpr Time kNow{1893459600s};   // 2030-01-01T01:00:00Z

/// One direction with every value known.
inline judge::DirectionSnapshot known_direction(double margin_db) {
  judge::DirectionSnapshot out;
  out.reports = 351;
  out.window = 1h;
  out.signal_dbm = -101.2;
  out.noise_dbm = -117;
  out.noise_source = NoiseSource::idle;
  out.margin_db = margin_db;
  out.margin_stderr_db = 0.4;
  out.margin_low_db = margin_db - 9.2;
  out.loss_ratio = 0.0008;
  out.loss_source = LossSource::seq;
  out.expected_loss_ratio = 0.0003;
  out.trend_db_per_day = -0.02;
  out.deficit_db = 1.2;
  out.budget_margin_db = margin_db + 1.2;
  out.retry_ratio = 0.125;
  out.rolling = {{{5min, margin_db + 0.5, 0.0}, {1h, margin_db, 0.0008}, {24h, {}, 1.0 / 3}}};
  out.tx_power_dbm = 27;
  out.frames_total = 123456789;
  out.frames_lost_total = 77;
  out.retries_total = 5;
  out.interval = {351, 3, -101.4, -117};
  return out;
}

inline judge::LinkSnapshot known_link(std::string name) {
  judge::LinkSnapshot out;
  out.name = std::move(name);
  out.up = true;
  out.reports_total = 1000;
  out.last_report = kNow - 2500ms;
  out.expect = 10s;
  out.latency_s = 0.35;
  out.supply_v = 12.4;
  out.temperature_c = -3.5;
  out.uptime_s = 86400;
  out.spreading_factor = 7;
  out.bandwidth_hz = 125000;
  out.directions = {known_direction(23.3), known_direction(17.1)};
  return out;
}

inline judge::AlertState alert_of(AlertName name, LinkIndex link, Severity severity) {
  judge::AlertState out;
  out.alert = name;
  out.link = link;
  out.active = true;
  out.severity = severity;
  out.since = kNow - 10min;
  out.text = "margin 4.1 dB, floor 5 dB";
  return out;
}

/// weir: all known. ridge: configured, never heard. One port with some trouble behind it.
inline judge::Snapshot two_links() {
  judge::Snapshot out;
  out.time = kNow;
  out.links = {known_link("weir"), {}};
  out.links[0].port = 0;
  out.links[1].name = "ridge";
  judge::PortSnapshot port;
  port.name = "mast";
  port.up = true;
  port.detail = "serial device, 57600 baud";
  port.discarded_bytes = {12, 0, 3, 0, 0, 0};
  port.rejected = {4, 0, 0, 0, 1};
  port.unmatched = 2;
  port.last_rejected = "garble <b>\"x\"</b>";
  port.last_rejected_at = kNow - 1min;
  out.ports = {port};
  return out;
}

/// One sample: name, labels as written, value.
struct Sample {
  std::string family;   ///< of the latest # TYPE line above it
  std::string type;
  double value = 0;
};

/// Reads either text format by its published grammar: comment lines, then "name{labels} value".
/// Duplicates and lines that do not fit are reported in `wrong`.
struct Scrape {
  std::map<std::string, Sample> samples;   ///< key: everything before the value
  std::vector<std::string> families;       ///< from # TYPE, in order
  std::map<std::string, std::string> types;
  std::map<std::string, std::string> units;
  std::map<std::string, std::string> helps;
  std::vector<std::string> wrong;
  bool ended = false;                      ///< "# EOF" was the last line

  explicit Scrape(std::string_view text) {
    std::string family;
    while (!text.empty()) {
      const auto end = text.find('\n');
      if (end == std::string_view::npos) wrong.emplace_back("last line without its end");
      take(std::string(text.substr(0, end)), family);
      text = end == std::string_view::npos ? "" : text.substr(end + 1);
    }
  }
  bool has(const std::string& series) const { return samples.count(series) == 1; }
  double at(const std::string& series) const {
    const auto found = samples.find(series);
    return found == samples.end() ? std::nan("") : found->second.value;
  }

 private:
  void take(const std::string& line, std::string& family) {
    if (ended) wrong.push_back("after the end: " + line);
    if (line == "# EOF") {
      ended = true;
    } else if (line.rfind("# ", 0) == 0) {
      const auto name_at = line.find(' ', 2) + 1;
      const auto rest_at = line.find(' ', name_at) + 1;
      const std::string word = line.substr(2, name_at - 3);
      const std::string name = line.substr(name_at, rest_at - name_at - 1);
      if (word == "TYPE") {
        family = name;
        families.push_back(name);
        if (!types.emplace(name, line.substr(rest_at)).second) wrong.push_back("again: " + line);
      } else if (word == "UNIT") {
        units[name] = line.substr(rest_at);
      } else if (word == "HELP") {
        helps[name] = line.substr(rest_at);
      } else {
        wrong.push_back(line);
      }
    } else {
      const auto space = line.rfind(' ');
      char* end = nullptr;
      const double value = std::strtod(line.c_str() + space + 1, &end);
      if (space == std::string::npos || *end != 0 || line.rfind(family, 0) != 0 ||
          !samples.emplace(line.substr(0, space), Sample{family, types[family], value}).second) {
        wrong.push_back(line);
      }
    }
  }
};

/// Everything that an exposition needs, held in one place.
struct Scene {
  judge::Snapshot snapshot = two_links();
  ProgramState program;
  ProcessUsage process{1.5, 8e6, 12, 1024};
  HttpTally http;
  BuildInfo build{"1.2.3", "abc", "g++ 12"};
  Exposition exposition;

  std::string text(Format format = Format::prometheus_text) {
    TextBuffer out;
    exposition.write({snapshot, program, process, http, build}, format, out);
    return std::string(out.view());
  }
  Scrape scrape(Format format = Format::prometheus_text) { return Scrape(text(format)); }
};

}  // namespace fadeward::publish::testing
