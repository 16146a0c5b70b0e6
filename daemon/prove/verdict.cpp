#include "fadeward/prove/verdict.hpp"

#include <boost/math/distributions/normal.hpp>
#include <cmath>

#include "fadeward/prove/interval.hpp"
#include "fadeward/prove/words.hpp"

namespace fadeward::prove {

namespace {

/// `bad` of `trials` against a highest share.
struct Share {
  std::uint64_t bad = 0;
  std::uint64_t trials = 0;
  double limit = 0;
  double confidence = 0.95;

  Outcome outcome() const {
    if (trials > 0 && share_at_most(bad, trials, confidence) <= limit) return Outcome::passed;
    if (bad > 0 && share_at_least(bad, trials, confidence) > limit) return Outcome::failed;
    return Outcome::undecided;
  }
};

std::string surely(double confidence) { return " (" + percent_words(confidence) + " sure)"; }

std::string needs_words(const std::optional<std::uint64_t>& needed) {
  if (!needed) return "no number of frames can show it";
  return "it takes " + std::to_string(*needed) + " frames in all, if none further fails";
}

/// The sentence behind the counts.
std::string share_words(const Share& share, Outcome outcome, const std::string& what,
                        const std::optional<std::uint64_t>& needed) {
  const std::string sure = surely(share.confidence);
  const std::string limit = percent_words(share.limit);
  switch (outcome) {
    case Outcome::passed:
      return what + ": at most " +
             percent_words(share_at_most(share.bad, share.trials, share.confidence)) + sure +
             ", asked for at most " + limit;
    case Outcome::failed:
      return what + ": at least " +
             percent_words(share_at_least(share.bad, share.trials, share.confidence)) + sure +
             ", asked for at most " + limit;
    case Outcome::undecided: break;
  }
  return what + ": not enough frames to say whether at most " + limit + " (so far at most " +
         percent_words(share_at_most(share.bad, share.trials, share.confidence)) + sure + "); " +
         needs_words(needed);
}

Finding finding_of(const Share& share, std::string criterion, const std::string& what) {
  Finding finding;
  finding.criterion = std::move(criterion);
  finding.outcome = share.outcome();
  if (finding.outcome == Outcome::undecided)
    finding.frames_needed = trials_to_show(share.bad, share.limit, share.confidence);
  finding.text = share_words(share, finding.outcome, what, finding.frames_needed);
  return finding;
}

std::string of_frames(std::uint64_t bad, std::uint64_t trials, const char* verb) {
  return std::to_string(bad) + " of " + count_words(trials, "frame", "frames") + " " + verb;
}

Finding direction_loss(Direction which, const DirectionTally& tally, const Criteria& criteria) {
  const Share share{tally.lost(), tally.sent, *criteria.max_loss, criteria.confidence};
  return finding_of(share, "loss " + std::string(name_of(which)),
                    of_frames(share.bad, share.trials, "lost"));
}

Finding trip_loss(const RoundTrips& trips, const Criteria& criteria) {
  Share share{trips.lost(), trips.sent, *criteria.max_loss, criteria.confidence};
  Finding finding;
  finding.criterion = "loss";
  if (trips.sent > 0 &&
      share_at_least(share.bad, share.trials, share.confidence) > 2 * share.limit) {
    finding.outcome = Outcome::failed;
    finding.text = of_frames(share.bad, share.trials, "not answered") +
                   ": at least one direction loses more than " + percent_words(share.limit) +
                   surely(share.confidence) +
                   "; the far end told nothing, so which one is not known";
    return finding;
  }
  finding.frames_needed = trials_to_show(share.bad, share.limit, share.confidence);
  finding.text = trips.sent == 0 ? "no frame was sent whose fate is known"
                                 : "the far end told nothing: not enough to say";
  return finding;
}

void judge_loss(const Tally& tally, const Criteria& criteria, std::vector<Finding>& findings) {
  if (!tally.direction(Direction::outbound)) {
    findings.push_back(trip_loss(tally.trips, criteria));
    return;
  }
  // A link that died never told the last: its probes are lost both ways at once.
  for (const Direction which : {Direction::outbound, Direction::inbound})
    findings.push_back(direction_loss(which, *tally.direction(which), criteria));
  if (tally.settled) return;
  const Finding trips = trip_loss(tally.trips, criteria);
  if (trips.outcome == Outcome::failed) {
    findings.push_back(trips);
    findings.back().text =
        of_frames(tally.trips.lost(), tally.trips.sent, "not answered") +
        ": at least one direction loses more than " + percent_words(*criteria.max_loss) +
        surely(criteria.confidence) + "; the far end stopped answering, so which one is not known";
  } else {
    Finding open;
    open.criterion = "last counts";
    open.text = "the far end did not answer after the last frame: what became of " +
                count_words(tally.untold, "frame", "frames") + " outbound is not known";
    findings.push_back(open);
  }
}

Finding judge_latency(const Tally& tally, std::uint64_t late, const Criteria& criteria) {
  const Share share{late, tally.trips.answered, 1 - criteria.latency_share, criteria.confidence};
  return finding_of(share, "latency",
                    of_frames(late, share.trials, "answered later than ") +
                        seconds_words(duration_to_seconds(*criteria.max_latency)));
}

Finding judge_margin(Direction which, const MeasuredMargin& margin, const Criteria& criteria) {
  Finding finding;
  finding.criterion = "margin " + std::string(name_of(which));
  const std::string asked =
      ", asked for at least " + decibel_words(*criteria.min_margin_db, "dB");
  if (!margin.margin_db || !margin.stderr_db) {
    finding.text = margin.margin_db ? "too few reports to know its error" + asked
                                    : "no report told it" + asked;
    return finding;
  }
  const double quantile =
      boost::math::quantile(boost::math::normal_distribution<>(), criteria.confidence);
  const double room = quantile * *margin.stderr_db;
  const double over = *margin.margin_db - *criteria.min_margin_db;
  finding.outcome = over >= room    ? Outcome::passed
                    : over < -room ? Outcome::failed
                                   : Outcome::undecided;
  finding.text = decibel_words(margin.margin_db, "dB") + " +- " + decibel_words(room, "dB") +
                 surely(criteria.confidence) + asked;
  if (finding.outcome == Outcome::undecided) finding.text += ": too close to say";
  return finding;
}

Outcome outcome_of(const std::vector<Finding>& findings) {
  Outcome all = findings.empty() ? Outcome::undecided : Outcome::passed;
  for (const Finding& finding : findings) {
    if (finding.outcome == Outcome::failed) return Outcome::failed;
    if (finding.outcome == Outcome::undecided) all = Outcome::undecided;
  }
  return all;
}

}  // namespace

std::string_view name_of(Outcome outcome) {
  switch (outcome) {
    case Outcome::passed: return "passed";
    case Outcome::failed: return "failed";
    case Outcome::undecided: return "undecided";
  }
  return "undecided";
}

Verdict judge(const Tally& tally, const MeasuredMargins& margins, const Criteria& criteria) {
  Verdict verdict;
  if (criteria.max_loss) judge_loss(tally, criteria, verdict.findings);
  if (criteria.max_latency)
    verdict.findings.push_back(judge_latency(tally, tally.later_than_limit, criteria));
  if (criteria.min_margin_db)
    for (const Direction which : {Direction::outbound, Direction::inbound})
      verdict.findings.push_back(
          judge_margin(which, margins[static_cast<std::size_t>(which)], criteria));
  verdict.outcome = outcome_of(verdict.findings);
  return verdict;
}

namespace {

std::optional<double> smallest_share(const Criteria& criteria) {
  std::optional<double> share = criteria.max_loss;
  if (criteria.max_latency) {
    const double late = 1 - criteria.latency_share;
    share = share ? std::min(*share, late) : late;
  }
  return share;
}

}  // namespace

bool can_decide(std::uint64_t frames, const Criteria& criteria) {
  const auto share = smallest_share(criteria);
  return !share || count_that_shows(frames, *share, criteria.confidence).has_value();
}

std::string prospect(std::uint64_t frames, const Criteria& criteria) {
  const auto share = smallest_share(criteria);
  if (!share || frames == 0) return count_words(frames, "frame", "frames");
  const std::string begin = count_words(frames, "frame", "frames") + ": ";
  const auto most = count_that_shows(frames, *share, criteria.confidence);
  if (!most)
    return begin + "too few to show " + percent_words(*share) + surely(criteria.confidence) +
           "; " + needs_words(trials_to_show(0, *share, criteria.confidence));
  if (*most == 0)
    return begin + "without any failure in a direction they show at most " +
           percent_words(*share) + surely(criteria.confidence);
  return begin + "up to " + count_words(*most, "failure", "failures") + " in a direction still show" +
         (*most == 1 ? "s" : "") + " at most " + percent_words(*share) +
         surely(criteria.confidence);
}

}  // namespace fadeward::prove
