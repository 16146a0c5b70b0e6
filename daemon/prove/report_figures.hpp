// The rows that the text and the page show alike.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "fadeward/prove/report.hpp"

namespace fadeward::prove {

/// One row: what, then outbound, inbound, round trip; empty cells where it has no meaning.
struct CountRow {
  std::string what;
  std::string outbound, inbound, trip;
};
std::vector<CountRow> count_rows(const Proof& proof);

using Fact = std::pair<std::string, std::string>;
std::vector<Fact> heading_facts(const Proof& proof);
std::vector<Fact> latency_facts(const Proof& proof);
/// What else happened; only what did.
std::vector<std::string> remarks(const Proof& proof);
std::string verdict_headline(const Proof& proof);

double throughput_bps(const Proof& proof, std::uint64_t delivered);

}  // namespace fadeward::prove
