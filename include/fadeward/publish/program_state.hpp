// What the program says about itself beside the snapshot of its links.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/time.hpp"

namespace fadeward::publish {

/// Fixed when the program was built.
struct BuildInfo {
  std::string version;   ///< "0.1.0"
  std::string revision;  ///< of the source; empty: unknown
  std::string compiler;  ///< empty: unknown
};

/// Samples that a push target will never get. Exported from the start with count 0 for every
/// target and reason that can occur.
struct PushDropped {
  std::string target;
  std::string reason;
  std::uint64_t count = 0;
};

/// What one push target was sent. Exported from the start with zeros.
struct PushTally {
  std::string target;          ///< its address without query: no secret
  std::uint64_t requests = 0;  ///< that came to an end, one way or the other
  std::uint64_t failures = 0;  ///< those of them that were not accepted
  std::uint64_t sent = 0;      ///< alerts or samples in accepted ones
  Time last_success{};         ///< wall clock; the epoch: never
  Duration behind{};           ///< age of the oldest quarter hour that still waits for it
};

/// Plain and copied as a whole into the SnapshotBox on each change.
struct ProgramState {
  bool ready = false;  ///< /-/ready answers 200
  bool config_last_reload_successful = true;
  std::optional<Time> config_last_reload;  ///< of the last successful one
  std::optional<Time> started;             ///< wall clock at the start of the process
  std::uint64_t history_write_errors = 0;
  std::uint64_t history_dropped = 0;  ///< records that will never be written
  std::vector<PushTally> pushes;
  std::vector<PushDropped> push_dropped;
  std::map<std::string, std::string> external_labels;  ///< onto the alerts of /alerts
};

/// Read from the operating system at each scrape; empty where it does not say.
struct ProcessUsage {
  std::optional<double> cpu_seconds;
  std::optional<double> resident_bytes;
  std::optional<double> open_fds;
  std::optional<double> max_fds;
};

/// Of the calling process. Opens /proc/self; allocates nothing that lasts.
ProcessUsage read_process_usage();

/// Connections that the HTTP server ended or never served.
struct HttpTally {
  std::uint64_t limit = 0;      ///< closed or refused to stay within the number of connections
  std::uint64_t accept = 0;     ///< failed attempts to accept
  std::uint64_t deadline = 0;   ///< too slow in sending a request or taking an answer
  std::uint64_t malformed = 0;  ///< not HTTP, or beyond a size limit
  std::uint64_t handshake = 0;  ///< no TLS, none that is allowed, or the wrong certificate
  std::uint64_t password = 0;   ///< requests without the right password
  bool web_config_successful = true;  ///< the newest attempt to read it; true without one
  std::uint64_t fault = 0;            ///< our own: the handler failed
  bool operator==(const HttpTally&) const = default;
};

}  // namespace fadeward::publish
