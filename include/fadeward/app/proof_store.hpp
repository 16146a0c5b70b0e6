// Proofs of links that the daemon takes as baseline, in the directory of the history.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/history/record.hpp"

namespace fadeward::app {

struct StoredProof {
  std::string link;
  Time from{};
  Time to{};
  std::array<std::optional<double>, kDirections> margins_db;
  std::string note;  ///< what was proved, one line
};

/// Appends to DIR/proved.jsonl, one JSON object a line: link, from, to (RFC 3339),
/// inbound_margin_db, outbound_margin_db (numbers or null), note. On disk when it returns. A daemon
/// may run meanwhile.
Status store_proof(const std::string& dir, const StoredProof& proof);

/// All of them, in the order of the file; lines that cannot be read are skipped and counted in
/// `skipped`. No file: none. At most the last 400.
Result<std::vector<StoredProof>> load_proofs(const std::string& dir, std::size_t& skipped);

/// The newest margin proved for each link and direction stands for its baseline until that is
/// learned.
void put_proofs(const std::vector<StoredProof>& proofs, Settings& settings);

/// One period for each direction of each proof.
std::vector<history::PeriodRecord> periods_of(const std::vector<StoredProof>& proofs);

}  // namespace fadeward::app
