// Does the link pass? What was counted against what was asked for, with what can be said at all.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/prove/tally.hpp"

namespace fadeward::prove {

struct Criteria {
  std::optional<double> max_loss;  ///< share of frames, each direction
  std::optional<Duration> max_latency;  ///< of round trips; `latency_share` of them within it
  double latency_share = 0.99;
  std::optional<double> min_margin_db;  ///< both directions
  double confidence = 0.95;  ///< of each statement
};

/// Margin of one direction as reports told it during the run; empty: not told.
struct MeasuredMargin {
  std::optional<double> margin_db;
  std::optional<double> stderr_db;
  std::optional<double> signal_dbm;
  std::optional<double> noise_dbm;
  std::uint64_t reports = 0;
};
using MeasuredMargins = std::array<MeasuredMargin, kDirections>;

/// undecided: too few frames to say, or not measured. It is no acceptance.
enum class Outcome : std::uint8_t { passed, failed, undecided };
std::string_view name_of(Outcome outcome);

struct Finding {
  std::string criterion;  ///< "loss outbound", "latency", "margin inbound"
  Outcome outcome = Outcome::undecided;
  std::string text;       ///< one sentence
  std::optional<std::uint64_t> frames_needed;  ///< in all, if none further fails; empty: not known
};

/// Passed: every finding is; failed: one is. Without criteria: undecided.
struct Verdict {
  Outcome outcome = Outcome::undecided;
  std::vector<Finding> findings;
};

/// A share passes where its upper exact limit (one-sided, `confidence`) is within the criterion,
/// and fails where its lower limit is beyond it. Where the far end told nothing, loss is judged on
/// the round trips: lost more often than twice the limit, one direction at least is beyond it. A
/// margin passes or fails by its standard error (normal quantile).
Verdict judge(const Tally& tally, const MeasuredMargins& margins, const Criteria& criteria);

/// What a run of so many frames can show, before it begins: one sentence.
std::string prospect(std::uint64_t frames, const Criteria& criteria);

}  // namespace fadeward::prove
