#include "fadeward/base/text.hpp"
#include "fadeward/prove/interval.hpp"
#include "fadeward/prove/report.hpp"
#include "report_figures.hpp"

namespace fadeward::prove {

namespace {

constexpr int kShareDecimals = 9;
constexpr int kSecondDecimals = 6;

/// One object under construction; members in the order they are added.
class Object {
 public:
  explicit Object(std::string& out) : out_(out) { out_ += '{'; }
  void end() { out_ += '}'; }

  std::string& key(std::string_view name) {
    if (!first_) out_ += ',';
    first_ = false;
    append_json_string(out_, name);
    out_ += ':';
    return out_;
  }
  void text(std::string_view name, std::string_view value) { append_json_string(key(name), value); }
  void count(std::string_view name, std::uint64_t value) { append_number(key(name), value); }
  void flag(std::string_view name, bool value) { key(name) += value ? "true" : "false"; }
  void null(std::string_view name) { key(name) += "null"; }
  void number(std::string_view name, std::optional<double> value, int decimals) {
    if (!value) return null(name);
    append_rounded(key(name), *value, decimals);
  }

 private:
  std::string& out_;
  bool first_ = true;
};

void put_loss(Object& object, std::uint64_t lost, std::uint64_t sent, double confidence) {
  std::optional<double> share, low, high;
  if (sent > 0) {
    const ShareInterval limits = share_interval(lost, sent, confidence);
    share = static_cast<double>(lost) / static_cast<double>(sent);
    low = limits.low;
    high = limits.high;
  }
  object.number("loss_ratio", share, kShareDecimals);
  object.number("loss_ratio_low", low, kShareDecimals);
  object.number("loss_ratio_high", high, kShareDecimals);
}

void put_direction(std::string& out, const Proof& proof, Direction which) {
  Object object(out);
  const auto& tally = proof.tally.direction(which);
  const auto count = [&](std::string_view name, auto get) {
    if (tally)
      object.count(name, get(*tally));
    else
      object.null(name);
  };
  using T = DirectionTally;
  count("sent", [](const T& t) { return t.sent; });
  count("delivered", [](const T& t) { return t.delivered; });
  count("lost", [](const T& t) { return t.lost(); });
  count("duplicated", [](const T& t) { return t.duplicated; });
  count("reordered", [](const T& t) { return t.reordered; });
  count("corrupted", [](const T& t) { return t.corrupted; });
  put_loss(object, tally ? tally->lost() : 0, tally ? tally->sent : 0, proof.criteria.confidence);
  object.number("throughput_bps",
                tally ? std::optional(throughput_bps(proof, tally->delivered)) : std::nullopt, 1);
  const MeasuredMargin& margin = proof.margins[static_cast<std::size_t>(which)];
  object.number("margin_db", margin.margin_db, 2);
  object.number("margin_stderr_db", margin.stderr_db, 2);
  object.number("signal_dbm", margin.signal_dbm, 2);
  object.number("noise_dbm", margin.noise_dbm, 2);
  object.count("reports", margin.reports);
  object.end();
}

void put_latency(Object& into, std::string& out, const std::optional<Latency>& latency) {
  if (!latency) return into.null("latency_s");
  into.key("latency_s");
  Object object(out);
  object.count("count", latency->count);
  object.number("min", latency->min_s, kSecondDecimals);
  object.number("median", latency->median_s, kSecondDecimals);
  object.number("p90", latency->p90_s, kSecondDecimals);
  object.number("p99", latency->p99_s, kSecondDecimals);
  object.number("max", latency->max_s, kSecondDecimals);
  object.end();
}

void put_criteria(std::string& out, const Criteria& criteria) {
  Object object(out);
  object.number("max_loss_ratio", criteria.max_loss, kShareDecimals);
  object.number("max_latency_s",
                criteria.max_latency ? std::optional(duration_to_seconds(*criteria.max_latency))
                                     : std::nullopt,
                kSecondDecimals);
  object.number("latency_share", criteria.latency_share, kShareDecimals);
  object.number("min_margin_db", criteria.min_margin_db, 2);
  object.number("confidence", criteria.confidence, kShareDecimals);
  object.end();
}

void put_verdict(std::string& out, const Verdict& verdict) {
  Object object(out);
  object.text("outcome", name_of(verdict.outcome));
  object.key("findings") += '[';
  bool first = true;
  for (const Finding& finding : verdict.findings) {
    if (!first) out += ',';
    first = false;
    Object entry(out);
    entry.text("criterion", finding.criterion);
    entry.text("outcome", name_of(finding.outcome));
    entry.text("text", finding.text);
    if (finding.frames_needed)
      entry.count("frames_needed", *finding.frames_needed);
    else
      entry.null("frames_needed");
    entry.end();
  }
  out += ']';
  object.end();
}

}  // namespace

std::string to_json(const Proof& proof) {
  const Tally& tally = proof.tally;
  std::string out;
  Object object(out);
  object.text("program", proof.program);
  if (proof.link.empty())
    object.null("link");
  else
    object.text("link", proof.link);
  object.text("port", proof.port);
  object.text("line", proof.line);
  object.text("from", format_rfc3339(proof.from));
  object.text("to", format_rfc3339(proof.to));
  object.flag("interrupted", proof.interrupted);
  object.count("frame_octets", proof.octets);
  object.number("rate_per_s", proof.rate_per_s, 6);
  object.count("planned_frames", proof.planned);
  object.count("probes", tally.probes);
  object.count("voided", tally.voided);
  object.count("untold", tally.untold);
  object.flag("settled", tally.settled);
  object.count("far_restarts", tally.far_restarts);
  object.count("interruptions", tally.interruptions);
  object.count("looped", tally.looped);
  object.count("foreign", tally.foreign);
  object.count("noise_octets", tally.noise_octets);
  object.number("elapsed_s", tally.elapsed_s, 3);
  {
    Object trips(object.key("round_trip"));
    trips.count("sent", tally.trips.sent);
    trips.count("answered", tally.trips.answered);
    trips.count("lost", tally.trips.lost());
    put_loss(trips, tally.trips.lost(), tally.trips.sent, proof.criteria.confidence);
    trips.end();
  }
  for (const Direction which : {Direction::outbound, Direction::inbound})
    put_direction(object.key(name_of(which)), proof, which);
  put_latency(object, out, tally.latency);
  put_criteria(object.key("criteria"), proof.criteria);
  object.text("margins_note", proof.margins_note);
  put_verdict(object.key("verdict"), proof.verdict);
  object.key("cautions") += '[';
  bool first = true;
  for (const std::string_view caution : proof.cautions) {
    if (!first) out += ',';
    first = false;
    append_json_string(out, caution);
  }
  out += ']';
  object.end();
  return out + "\n";
}

}  // namespace fadeward::prove
