// The outcome of a proving run as text for a person, JSON for a program, and a page to sign.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/time.hpp"
#include "fadeward/prove/tally.hpp"
#include "fadeward/prove/verdict.hpp"

namespace fadeward::prove {

struct Proof {
  std::string program;  ///< name and version
  std::string link;     ///< empty: not given
  std::string port;     ///< as given
  std::string line;     ///< what the port said of itself: device, rate
  std::size_t octets = 0;
  double rate_per_s = 0;
  std::uint64_t planned = 0;  ///< probes
  Time from{};
  Time to{};
  bool interrupted = false;  ///< ended by hand before the plan was done
  Criteria criteria;
  Tally tally;
  MeasuredMargins margins;
  std::string margins_note;  ///< where they are from, or why there are none
  Verdict verdict;
  std::optional<double> near_height_m, far_height_m;  ///< antennas, as configured
  std::vector<std::string_view> cautions;
};

/// Aligned columns, at most 100 characters wide but for names and sentences.
std::string to_text(const Proof& proof);

/// One object, one line. A value that is not known is null. Keys: program, link, port, line, from,
/// to (RFC 3339), interrupted, frame_octets, rate_per_s, planned_frames, probes, voided, untold,
/// settled, far_restarts, interruptions, looped, foreign, noise_octets, elapsed_s, round_trip {sent, answered, lost,
/// loss_ratio, loss_ratio_low, loss_ratio_high}, outbound and inbound {sent, delivered, lost,
/// duplicated, reordered, corrupted, loss_ratio, loss_ratio_low, loss_ratio_high, throughput_bps,
/// margin_db, margin_stderr_db, signal_dbm, noise_dbm, reports}, latency_s {count, min, median, p90, p99, max},
/// criteria {max_loss_ratio, max_latency_s, latency_share, min_margin_db, confidence}, margins_note,
/// verdict {outcome, findings [{criterion, outcome, text, frames_needed}]}, cautions. The limits
/// loss_ratio_low and _high are two-sided (Clopper-Pearson) at `confidence`.
std::string to_json(const Proof& proof);

/// A whole document without references to anything outside; prints on one or two sheets, with lines
/// for names, date, place, antennas and weather.
std::string to_html(const Proof& proof);

}  // namespace fadeward::prove
