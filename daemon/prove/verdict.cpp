#include "fadeward/prove/verdict.hpp"

#include <boost/math/distributions/normal.hpp>
#include <cmath>

#include "fadeward/estimate/binomial.hpp"
#include "fadeward/prove/words.hpp"

namespace fadeward::prove {

namespace {

std::string surely(double confidence) { return " (" + percent_words(confidence) + " sure)"; }

/// `bad` of `trials` against a highest share.
struct Share {
  std::uint64_t bad = 0;
  std::uint64_t trials = 0;
  double limit = 0;
  double confidence = 0.95;

  double at_most() const { return estimate::share_at_most(bad, trials, confidence); }
  double at_least() const { return estimate::share_at_least(bad, trials, confidence); }
  std::optional<std::uint64_t> trials_needed() const {
    return estimate::trials_to_show(bad, limit, confidence);
  }
  Outcome outcome() const {
    if (trials > 0 && at_most() <= limit) return Outcome::passed;
    if (bad > 0 && at_least() > limit) return Outcome::failed;
    return Outcome::undecided;
  }
  /// "at most 0.4 % (95 % sure)"
  std::string at_most_words() const {
    return "at most " + percent_words(at_most()) + surely(confidence);
  }
  std::string at_least_words() const {
    return "at least " + percent_words(at_least()) + surely(confidence);
  }
};

std::string needs_words(const std::optional<std::uint64_t>& needed) {
  if (!needed) return "no number of frames can show it";
  return "it takes " + std::to_string(*needed) + " frames in all, if none further fails";
}

/// The sentence behind the counts.
std::string share_words(const Share& share, Outcome outcome) {
  const std::string asked = "at most " + percent_words(share.limit);
  switch (outcome) {
    case Outcome::passed: return share.at_most_words() + ", asked for " + asked;
    case Outcome::failed: return share.at_least_words() + ", asked for " + asked;
    case Outcome::undecided: break;
  }
  return "not enough frames to say whether " + asked + " (so far " + share.at_most_words() + "); " +
         needs_words(share.trials_needed());
}

Finding finding_of(const Share& share, std::string criterion, const std::string& what) {
  Finding finding;
  finding.criterion = std::move(criterion);
  finding.outcome = share.outcome();
  if (finding.outcome == Outcome::undecided) finding.frames_needed = share.trials_needed();
  finding.text = what + ": " + share_words(share, finding.outcome);
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

/// Lost more often than twice the limit, at least one direction is beyond it. `far_end`: why it
/// cannot be told which one.
std::optional<Finding> trip_loss(const RoundTrips& trips, const Criteria& criteria,
                                 const std::string& far_end) {
  const Share twice{trips.lost(), trips.sent, 2 * *criteria.max_loss, criteria.confidence};
  if (twice.outcome() != Outcome::failed) return {};
  Finding finding;
  finding.criterion = "loss";
  finding.outcome = Outcome::failed;
  finding.text = of_frames(twice.bad, twice.trials, "not answered") +
                 ": at least one direction loses more than " + percent_words(*criteria.max_loss) +
                 surely(criteria.confidence) + "; " + far_end + ", so which one is not known";
  return finding;
}

Finding no_counts(const RoundTrips& trips, const Criteria& criteria) {
  Finding finding;
  finding.criterion = "loss";
  finding.frames_needed =
      Share{trips.lost(), trips.sent, *criteria.max_loss, criteria.confidence}.trials_needed();
  finding.text = trips.sent == 0 ? "no frame was sent whose fate is known"
                                 : "the far end told nothing: not enough to say";
  return finding;
}

Finding no_last_counts(std::uint64_t untold) {
  Finding finding;
  finding.criterion = "last counts";
  finding.text = "the far end did not answer after the last frame: what became of " +
                 count_words(untold, "frame", "frames") + " outbound is not known";
  return finding;
}

void judge_loss(const Tally& tally, const Criteria& criteria, std::vector<Finding>& findings) {
  if (!tally.direction(Direction::outbound)) {
    const auto failed = trip_loss(tally.trips, criteria, "the far end told nothing");
    findings.push_back(failed ? *failed : no_counts(tally.trips, criteria));
    return;
  }
  for (const Direction which : {Direction::outbound, Direction::inbound})
    findings.push_back(direction_loss(which, *tally.direction(which), criteria));
  if (tally.settled) return;
  // A link that died: what was sent since then stands in the counts of neither direction.
  const auto failed = trip_loss(tally.trips, criteria, "the far end stopped answering");
  findings.push_back(failed ? *failed : no_last_counts(tally.untold));
}

Finding judge_latency(const Tally& tally, const Criteria& criteria) {
  const Share share{tally.later_than_limit, tally.trips.answered, 1 - criteria.latency_share,
                    criteria.confidence};
  return finding_of(share, "latency",
                    of_frames(share.bad, share.trials, "answered later than ") +
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
  if (criteria.max_latency) verdict.findings.push_back(judge_latency(tally, criteria));
  if (criteria.min_margin_db)
    for (const Direction which : {Direction::outbound, Direction::inbound})
      verdict.findings.push_back(
          judge_margin(which, margins[static_cast<std::size_t>(which)], criteria));
  verdict.outcome = outcome_of(verdict.findings);
  return verdict;
}

namespace {

/// The smallest share of frames that may fail: it takes the most frames to show.
std::optional<double> smallest_share(const Criteria& criteria) {
  std::optional<double> share = criteria.max_loss;
  if (criteria.max_latency) {
    const double late = 1 - criteria.latency_share;
    share = share ? std::min(*share, late) : late;
  }
  return share;
}

}  // namespace

std::string prospect(std::uint64_t frames, const Criteria& criteria) {
  const auto share = smallest_share(criteria);
  if (!share || frames == 0) return count_words(frames, "frame", "frames");
  const std::string begin = count_words(frames, "frame", "frames") + ": ";
  const auto most = estimate::count_that_shows(frames, *share, criteria.confidence);
  if (!most)
    return begin + "too few to show " + percent_words(*share) + surely(criteria.confidence) +
           "; " + needs_words(estimate::trials_to_show(0, *share, criteria.confidence));
  if (*most == 0)
    return begin + "without any failure in a direction they show at most " +
           percent_words(*share) + surely(criteria.confidence);
  return begin + "up to " + count_words(*most, "failure", "failures") + " in a direction still show" +
         (*most == 1 ? "s" : "") + " at most " + percent_words(*share) +
         surely(criteria.confidence);
}

}  // namespace fadeward::prove
