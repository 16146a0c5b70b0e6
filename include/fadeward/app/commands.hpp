// The smaller commands.
#pragma once

#include <optional>
#include <string>

#include "fadeward/app/duplex_line.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/prove/verdict.hpp"
#include "fadeward/simulate/scenario.hpp"

namespace fadeward::app {

int check(const std::string& config);

struct BudgetOptions {
  std::string config;
  std::string link;             ///< empty: all
  std::string format = "text";  ///< or html, json
};
int budget(const BudgetOptions& options);

struct ExportOptions {
  std::string history;  ///< directory
  std::string link;     ///< empty: all
  std::optional<Time> from, to;
  std::vector<std::string> labels;  ///< NAME=VALUE onto every series
};
int export_history(const ExportOptions& options);

struct SimulateOptions {
  simulate::Options world;
  std::string truth;  ///< path; empty: none
  double pace = 0;    ///< so many times faster than life; 0: as fast as possible
  std::string pty;    ///< path of a link to a pseudo-terminal that plays the radio; empty: stdout
};
int simulate_world(const SimulateOptions& options);

struct EchoOptions {
  PortWords port;
  std::string config;  ///< where a port is given by its name; empty: none
};
/// The far end of an acceptance test: runs until it is told to stop.
int echo(const EchoOptions& options);

struct ProveOptions {
  PortWords port;
  std::string config;  ///< empty: none
  std::string link;    ///< empty: none
  std::size_t octets = 48;
  double rate_per_s = 1;
  Duration span = std::chrono::minutes{10};
  Duration wait = std::chrono::seconds{5};    ///< for an answer
  Duration knock = std::chrono::seconds{30};  ///< for a far end to answer at all
  prove::Criteria criteria;
  std::string json, html;  ///< files; empty: none
  bool baseline = false;
  bool walk = false;
};
/// 0 accepted (or a walk ended), 1 the port or a file failed, 2 options that do not go together, 3
/// not accepted.
int prove_link(const ProveOptions& options);

}  // namespace fadeward::app
