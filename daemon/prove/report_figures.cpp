#include "report_figures.hpp"

#include "fadeward/base/text.hpp"
#include "fadeward/estimate/binomial.hpp"
#include "fadeward/prove/words.hpp"

namespace fadeward::prove {

namespace {

constexpr const char* kUnknown = "not known";

std::string limits_words(std::uint64_t lost, std::uint64_t sent, double confidence) {
  if (sent == 0) return kUnknown;
  const estimate::ShareInterval share = estimate::share_interval(lost, sent, confidence);
  std::string low = percent_words(share.low);
  low.resize(low.size() - 2);   // the unit stands once
  return low + " to " + percent_words(share.high);
}

template <class Get>
CountRow counted(std::string what, const Proof& proof, Get get, std::string trip = "") {
  const auto cell = [&](Direction which) {
    const auto& tally = proof.tally.direction(which);
    return tally ? get(*tally) : std::string(kUnknown);
  };
  return {std::move(what), cell(Direction::outbound), cell(Direction::inbound), std::move(trip)};
}

template <class Get>
CountRow measured(std::string what, const Proof& proof, Get get) {
  return {std::move(what), get(proof.margins[static_cast<std::size_t>(Direction::outbound)]),
          get(proof.margins[static_cast<std::size_t>(Direction::inbound)]), ""};
}

std::string share_words(std::uint64_t part, std::uint64_t whole) {
  if (whole == 0) return kUnknown;
  return percent_words(static_cast<double>(part) / static_cast<double>(whole));
}

bool any_margin(const Proof& proof) {
  return proof.margins[0].reports + proof.margins[1].reports > 0;
}

}  // namespace

double throughput_bps(const Proof& proof, std::uint64_t delivered) {
  if (!(proof.tally.elapsed_s > 0)) return 0;
  return 8.0 * static_cast<double>(proof.octets) * static_cast<double>(delivered) /
         proof.tally.elapsed_s;
}

std::vector<CountRow> count_rows(const Proof& proof) {
  using T = DirectionTally;
  const RoundTrips& trips = proof.tally.trips;
  const double confidence = proof.criteria.confidence;
  const auto number = [](std::uint64_t T::*count) {
    return [count](const T& tally) { return std::to_string(tally.*count); };
  };
  std::vector<CountRow> rows;
  rows.push_back(counted("frames sent", proof, number(&T::sent), std::to_string(trips.sent)));
  rows.push_back(
      counted("delivered", proof, number(&T::delivered), std::to_string(trips.answered)));
  rows.push_back(counted("lost", proof, [](const T& t) { return std::to_string(t.lost()); },
                         std::to_string(trips.lost())));
  rows.push_back(counted("loss", proof, [](const T& t) { return share_words(t.lost(), t.sent); },
                         share_words(trips.lost(), trips.sent)));
  rows.push_back(counted("  " + percent_words(confidence) + " limits", proof,
                         [&](const T& t) { return limits_words(t.lost(), t.sent, confidence); },
                         limits_words(trips.lost(), trips.sent, confidence)));
  rows.push_back(counted("came damaged", proof, number(&T::corrupted)));
  rows.push_back(counted("came again", proof, number(&T::duplicated)));
  rows.push_back(counted("came out of order", proof, number(&T::reordered)));
  rows.push_back(counted("throughput", proof, [&](const T& t) {
    return rate_words(throughput_bps(proof, t.delivered));
  }));
  if (!any_margin(proof)) return rows;
  using M = MeasuredMargin;
  rows.push_back(measured("margin", proof, [](const M& m) {
    return decibel_words(m.margin_db, "dB");
  }));
  rows.push_back(measured("  standard error", proof, [](const M& m) {
    return decibel_words(m.stderr_db, "dB");
  }));
  rows.push_back(measured("signal", proof, [](const M& m) {
    return decibel_words(m.signal_dbm, "dBm");
  }));
  rows.push_back(measured("noise", proof, [](const M& m) {
    return decibel_words(m.noise_dbm, "dBm");
  }));
  return rows;
}

std::vector<Fact> heading_facts(const Proof& proof) {
  std::vector<Fact> facts;
  if (!proof.link.empty()) facts.emplace_back("link", printable(proof.link));
  facts.emplace_back("port", printable(proof.line.empty() ? proof.port : proof.line));
  facts.emplace_back("from", format_rfc3339(std::chrono::floor<std::chrono::seconds>(proof.from)));
  facts.emplace_back("to", format_rfc3339(std::chrono::floor<std::chrono::seconds>(proof.to)) +
                               " (" + span_words(duration_to_seconds(proof.to - proof.from)) +
                               (proof.interrupted ? ", ended by hand)" : ")"));
  std::string frames = std::to_string(proof.octets) + " octets, ";
  append_rounded(frames, proof.rate_per_s, 3);
  facts.emplace_back("frames", frames + " a second; " + std::to_string(proof.tally.probes) +
                                   " of " + std::to_string(proof.planned) + " planned");
  return facts;
}

std::vector<Fact> latency_facts(const Proof& proof) {
  const auto& latency = proof.tally.latency;
  if (!latency) return {};
  return {{"least", seconds_words(latency->min_s)},
          {"median", seconds_words(latency->median_s)},
          {"90 % within", seconds_words(latency->p90_s)},
          {"99 % within", seconds_words(latency->p99_s)},
          {"longest", seconds_words(latency->max_s)}};
}

std::vector<std::string> remarks(const Proof& proof) {
  const Tally& tally = proof.tally;
  std::vector<std::string> out;
  if (!tally.directions[0])
    out.emplace_back("No far end answered: both directions cannot be told apart.");
  if (tally.looped > 0)
    out.push_back(count_words(tally.looped, "own frame", "own frames") +
                  " came back as sent: a loop or a local echo stands in the path.");
  if (tally.far_restarts > 0)
    out.push_back("The far end restarted " + count_words(tally.far_restarts, "time", "times") +
                  "; its count began anew.");
  if (tally.interruptions > 0)
    out.push_back("The port closed " + count_words(tally.interruptions, "time", "times") + "; " +
                  count_words(tally.voided, "frame", "frames") +
                  " on the way then count neither as delivered nor as lost.");
  if (tally.directions[0] && tally.untold > 0)
    out.push_back("What became of " + count_words(tally.untold, "frame", "frames") +
                  " outbound is not known" +
                  (tally.settled ? "." : ": the far end did not answer after the last frame."));
  if (tally.foreign > 0)
    out.push_back(count_words(tally.foreign, "good frame", "good frames") +
                  " of another session came in and did not count.");
  if (tally.noise_octets > 0)
    out.push_back(count_words(tally.noise_octets, "octet", "octets") +
                  " between frames were noise, remains of cut frames or other traffic.");
  return out;
}

std::string verdict_headline(const Proof& proof) {
  switch (proof.verdict.outcome) {
    case Outcome::passed: return "PASSED: the link does what was asked for";
    case Outcome::failed: return "FAILED: the link does not do what was asked for";
    case Outcome::undecided: break;
  }
  return "UNDECIDED: not enough was seen to accept the link";
}

}  // namespace fadeward::prove
