#include "fadeward/base/json_text.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/estimate/binomial.hpp"
#include "fadeward/prove/report.hpp"
#include "report_figures.hpp"

namespace fadeward::prove {

namespace {

constexpr int kShareDecimals = 9;
constexpr int kSecondDecimals = 6;

void put_loss(std::string& out, std::uint64_t lost, std::uint64_t sent, double confidence) {
  std::optional<double> share, low, high;
  if (sent > 0) {
    const estimate::ShareInterval limits = estimate::share_interval(lost, sent, confidence);
    share = static_cast<double>(lost) / static_cast<double>(sent);
    low = limits.low;
    high = limits.high;
  }
  json::rounded(out, "loss_ratio", share, kShareDecimals);
  json::rounded(out, "loss_ratio_low", low, kShareDecimals);
  json::rounded(out, "loss_ratio_high", high, kShareDecimals);
}

void put_round_trips(std::string& out, const RoundTrips& trips, double confidence) {
  json::key(out, "round_trip");
  out += '{';
  json::count(out, "sent", trips.sent);
  json::count(out, "answered", trips.answered);
  json::count(out, "lost", trips.lost());
  put_loss(out, trips.lost(), trips.sent, confidence);
  out += '}';
}

void put_counts(std::string& out, const Proof& proof, const DirectionTally& tally) {
  json::count(out, "sent", tally.sent);
  json::count(out, "delivered", tally.delivered);
  json::count(out, "lost", tally.lost());
  json::count(out, "duplicated", tally.duplicated);
  json::count(out, "reordered", tally.reordered);
  json::count(out, "corrupted", tally.corrupted);
  put_loss(out, tally.lost(), tally.sent, proof.criteria.confidence);
  json::rounded(out, "throughput_bps", throughput_bps(proof, tally.delivered), 1);
}

void put_direction(std::string& out, const Proof& proof, Direction which) {
  json::key(out, name_of(which));
  out += '{';
  if (const auto& tally = proof.tally.direction(which))
    put_counts(out, proof, *tally);
  else
    for (const char* count : {"sent", "delivered", "lost", "duplicated", "reordered", "corrupted",
                              "loss_ratio", "loss_ratio_low", "loss_ratio_high", "throughput_bps"})
      json::rounded(out, count, {}, 0);
  const MeasuredMargin& margin = proof.margins[static_cast<std::size_t>(which)];
  json::rounded(out, "margin_db", margin.margin_db, 2);
  json::rounded(out, "margin_stderr_db", margin.stderr_db, 2);
  json::rounded(out, "signal_dbm", margin.signal_dbm, 2);
  json::rounded(out, "noise_dbm", margin.noise_dbm, 2);
  json::count(out, "reports", margin.reports);
  out += '}';
}

void put_latency(std::string& out, const std::optional<Latency>& latency) {
  json::key(out, "latency_s");
  if (!latency) {
    out += "null";
    return;
  }
  out += '{';
  json::count(out, "count", latency->count);
  json::rounded(out, "min", latency->min_s, kSecondDecimals);
  json::rounded(out, "median", latency->median_s, kSecondDecimals);
  json::rounded(out, "p90", latency->p90_s, kSecondDecimals);
  json::rounded(out, "p99", latency->p99_s, kSecondDecimals);
  json::rounded(out, "max", latency->max_s, kSecondDecimals);
  out += '}';
}

void put_criteria(std::string& out, const Criteria& criteria) {
  json::key(out, "criteria");
  out += '{';
  json::rounded(out, "max_loss_ratio", criteria.max_loss, kShareDecimals);
  json::seconds(out, "max_latency_s", criteria.max_latency);
  json::rounded(out, "latency_share", criteria.latency_share, kShareDecimals);
  json::rounded(out, "min_margin_db", criteria.min_margin_db, 2);
  json::rounded(out, "confidence", criteria.confidence, kShareDecimals);
  out += '}';
}

void put_finding(std::string& out, const Finding& finding) {
  out += '{';
  json::text(out, "criterion", finding.criterion);
  json::text(out, "outcome", name_of(finding.outcome));
  json::text(out, "text", finding.text);
  if (finding.frames_needed)
    json::count(out, "frames_needed", *finding.frames_needed);
  else
    json::rounded(out, "frames_needed", {}, 0);
  out += '}';
}

void put_list(std::string& out, std::string_view name, const auto& items, auto put) {
  json::key(out, name);
  out += '[';
  for (const auto& item : items) {
    if (out.back() != '[') out += ',';
    put(out, item);
  }
  out += ']';
}

void put_verdict(std::string& out, const Verdict& verdict) {
  json::key(out, "verdict");
  out += '{';
  json::text(out, "outcome", name_of(verdict.outcome));
  put_list(out, "findings", verdict.findings, put_finding);
  out += '}';
}

}  // namespace

std::string to_json(const Proof& proof) {
  const Tally& tally = proof.tally;
  std::string out = "{";
  json::text(out, "program", proof.program);
  json::text_or_null(out, "link", proof.link);
  json::text(out, "port", proof.port);
  json::text(out, "line", proof.line);
  json::moment(out, "from", proof.from);
  json::moment(out, "to", proof.to);
  json::flag(out, "interrupted", proof.interrupted);
  json::count(out, "frame_octets", proof.octets);
  json::rounded(out, "rate_per_s", proof.rate_per_s, 6);
  json::count(out, "planned_frames", proof.planned);
  json::count(out, "probes", tally.probes);
  json::count(out, "voided", tally.voided);
  json::count(out, "untold", tally.untold);
  json::flag(out, "settled", tally.settled);
  json::count(out, "far_restarts", tally.far_restarts);
  json::count(out, "interruptions", tally.interruptions);
  json::count(out, "looped", tally.looped);
  json::count(out, "foreign", tally.foreign);
  json::count(out, "noise_octets", tally.noise_octets);
  json::rounded(out, "elapsed_s", tally.elapsed_s, 3);
  put_round_trips(out, tally.trips, proof.criteria.confidence);
  for (const Direction which : {Direction::outbound, Direction::inbound})
    put_direction(out, proof, which);
  put_latency(out, tally.latency);
  put_criteria(out, proof.criteria);
  json::text(out, "margins_note", proof.margins_note);
  put_verdict(out, proof.verdict);
  put_list(out, "cautions", proof.cautions, append_json_string);
  return out + "}\n";
}

}  // namespace fadeward::prove
