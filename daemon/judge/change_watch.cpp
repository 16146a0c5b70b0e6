#include "fadeward/judge/change_watch.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

namespace fadeward::judge {

namespace {

using Vector = std::array<double, kStreams>;

constexpr std::size_t kFewestFrames = 4;                         // of a direction in a block
constexpr std::array<std::size_t, 5> kAfter = {1, 2, 4, 8, 16};  // blocks
constexpr std::array<std::size_t, 5> kBefore = {4, 4, 6, 8, 16};
// What is usual before anything was learned (fading of a rural path, 18 frames a block).
constexpr double kPriorDb[5][kStreams] = {{0.55, 0.9, 0.45, 0.45},
                                          {0.50, 0.7, 0.40, 0.40},
                                          {0.45, 0.55, 0.40, 0.40},
                                          {0.55, 0.45, 0.40, 0.40},
                                          {0.70, 0.40, 0.45, 0.45}};
constexpr double kPriorJumps = 40, kMostJumps = 2500;
constexpr double kLeastSigmaDb = 0.12;
constexpr std::uint32_t kFewestJumps =
    15;                               // three quarters of an hour before anything is suspected,
constexpr std::uint32_t kYoung = 40;  // and only what is plain before two hours
constexpr double kPlainGain = 30, kPlainDb = 4;
constexpr std::size_t kReferenceBlocks = 6;  // before a change
constexpr double kCandidateGain = 12.5;      // five standard deviations
constexpr double kPathCandidateGain = 8;     // four: the path has to prove itself by lasting
constexpr double kOwnProof = 4.8, kEachProof = 3.5;  // standard deviations of the stream that tells
constexpr std::uint32_t kBothForGood =
    40;  // see both_seen_: ten blocks with both more than missing ones
constexpr double kMoreThanWeatherDb = 10;
constexpr std::size_t kPatientBlocks = 60;
constexpr double kCandidateDb = 1.1;
constexpr double kTellGain = 16;
constexpr double kTold = 0.4;         // of its size left: it is over
constexpr double kMostMisfit = 0.35;  // of what is explained
constexpr double kReturnedFade = 1 - 1.0 / (14 * 480);

bool of_path(Cause cause) { return cause == Cause::path; }
bool of_noise(Cause cause) { return cause == Cause::near_noise || cause == Cause::far_noise; }
bool of_antenna(Cause cause) { return cause == Cause::near_antenna || cause == Cause::far_antenna; }

std::int64_t hour_of(Time at) {
  const std::int64_t us = at.time_since_epoch().count();
  constexpr std::int64_t kHourUs = 3'600'000'000;
  return us >= 0 ? us / kHourUs : -((kHourUs - 1 - us) / kHourUs);
}

/// The stream that sets a cause apart from the wandering of the path speaks clearly by itself.
bool own_proof(Cause cause, const Changes& c) {
  const auto sigmas = [&](Stream s) { return std::abs(c.db(s)) / c.sigma(s); };
  switch (cause) {
    case Cause::near_transmit:
    case Cause::far_transmit: return sigmas(Stream::difference) > kOwnProof;
    case Cause::near_receive:
      return sigmas(Stream::difference) > kEachProof && sigmas(Stream::near_noise) > kEachProof;
    case Cause::far_receive:
      return sigmas(Stream::difference) > kEachProof && sigmas(Stream::far_noise) > kEachProof;
    case Cause::near_noise: return sigmas(Stream::near_noise) > kOwnProof;
    case Cause::far_noise: return sigmas(Stream::far_noise) > kOwnProof;
    default: return true;
  }
}

std::int16_t moved(std::int16_t cdb, double by_db) {
  return static_cast<std::int16_t>(std::clamp(cdb + static_cast<int>(100 * by_db), -32000, 32000));
}

double confidence_of(double lead) { return std::min(0.99, 1 / (1 + std::exp(-lead))); }

}  // namespace

// ---- blocks --------------------------------------------------------------------------------

ChangeWatch::Levels ChangeWatch::levels_of(const link::Block& block) {
  Levels out;
  const link::BlockSide& in = block.sides[0];
  const link::BlockSide& away = block.sides[1];
  const bool has_in = in.frames >= kFewestFrames, has_out = away.frames >= kFewestFrames;
  // Fades within about a day of blocks, so that a direction that fell silent for good is given up.
  const auto note = [](std::uint32_t& seen, bool now) {
    seen = now ? std::min(seen + 4, 960U) : seen - std::min(seen, 1U);
  };
  note(both_seen_, has_in && has_out && !relayed_);
  const auto put = [&](Stream stream, double value) {
    const auto i = static_cast<std::size_t>(stream);
    out.db[i] = value;
    out.known[i] = true;
  };
  if (!moving_) choose_meaning(in, away, has_in, has_out && !relayed_);
  if (!moving_) {
    if (both_ && has_in && has_out && !relayed_) {
      put(Stream::common,
          0.5 * (static_cast<double>(in.signal_db) + static_cast<double>(away.signal_db)));
      put(Stream::difference,
          static_cast<double>(in.signal_db) - static_cast<double>(away.signal_db));
    } else if (!both_ && (way_ == Direction::inbound ? has_in : has_out)) {
      put(Stream::common,
          static_cast<double>(way_ == Direction::inbound ? in.signal_db : away.signal_db));
    }
  }
  if (has_in && in.noise_known) put(Stream::near_noise, static_cast<double>(in.noise_dbm));
  if (has_out && away.noise_known) put(Stream::far_noise, static_cast<double>(away.noise_dbm));
  return out;
}

/// `common` is the mean of both directions, or one alone where the other is hardly ever heard.
/// These are different levels: when one takes the place of the other nothing before can be compared
/// with it.
void ChangeWatch::choose_meaning(const link::BlockSide& in, const link::BlockSide& away,
                                 bool has_in, bool has_out) {
  if (!has_in && !has_out) return;
  const bool first = !meant_, was_both = both_;
  const Direction was = way_;
  meant_ = true;
  if (has_in && has_out) {
    both_ = both_ || first || both_seen_ >= kBothForGood;
  } else if (first || both_seen_ == 0) {
    both_ = false;
    way_ = has_in ? Direction::inbound : Direction::outbound;
  }
  if (first || (both_ == was_both && (both_ || way_ == was))) return;
  settle();
  forget_level(0);
  // What was told is compared with the same moment, in the new meaning.
  const double sign = (both_ ? was : way_) == Direction::inbound ? 0.5 : -0.5;
  for (Suspect& s : suspects_) {
    if (both_) {
      const double difference_db =
          static_cast<double>(in.signal_db) - static_cast<double>(away.signal_db);
      s.before_db[0] -= sign * difference_db;
      s.before_known[1] = false;
    } else if (was_both) {
      s.before_known[0] = s.before_known[0] && s.before_known[1];
      s.before_db[0] += sign * s.before_db[1];
      s.effect_db[0] += sign * s.effect_db[1];
    } else {
      s.before_known[0] = false;
    }
  }
}

/// The usual level of a stream and the hours that it rests on; the rhythm about it stays.
void ChangeWatch::forget_level(std::size_t stream) {
  const auto others = static_cast<std::uint8_t>(~(1U << stream));
  for (std::size_t h = 0; h < hours_.size(); ++h) {
    hours_[h].known &= others;
    hours_[h].day_known &= others;
  }
  day_level_hours_[stream] = 0;
  hour_sum_[stream] = 0;
  hour_count_[stream] = 0;
  rhythms_[stream].forget_level();
}

void ChangeWatch::push(const Levels& levels) {
  Values next;
  if (!recent_.empty()) {
    next.counts = recent_.back().counts;
    next.sums_cdb = recent_.back().sums_cdb;
  }
  for (std::size_t i = 0; i < kStreams; ++i) {
    if (!levels.known[i]) continue;
    next.known = static_cast<std::uint8_t>(next.known | 1U << i);
    next.cdb[i] = static_cast<std::int16_t>(std::clamp(levels.db[i], -320.0, 320.0) * 100);
    ++next.counts[i];
    next.sums_cdb[i] += static_cast<std::uint32_t>(static_cast<std::int32_t>(next.cdb[i]));
  }
  if (recent_.capacity() < kRecent) recent_.reserve(kRecent);
  if (recent_.size() == kRecent) recent_.pop();
  recent_.push(next);
}

/// A hundredth of 1 / n, n up to the number of blocks that are kept; 0 for none.
constexpr auto kShare = [] {
  std::array<double, 65> out{};  // kRecent and none
  for (std::size_t n = 1; n < out.size(); ++n) out[n] = 0.01 / static_cast<double>(n);
  return out;
}();

ChangeWatch::Mean ChangeWatch::mean_of(std::size_t first_back, std::size_t count) const {
  Mean out;
  if (first_back >= recent_.size()) return out;
  const Values& last = recent_[recent_.size() - 1 - first_back];
  const std::size_t oldest_back = std::min(first_back + count, recent_.size()) - 1;
  const Values& first = recent_[recent_.size() - 1 - oldest_back];
  for (std::size_t i = 0; i < kStreams; ++i) {
    const unsigned own = first.has(i) ? 1 : 0;
    const auto known = static_cast<std::uint16_t>(last.counts[i] - first.counts[i] + own);
    out.known[i] = known > 0 && known * 2U >= count;
    const auto sum = static_cast<std::int32_t>(last.sums_cdb[i] - first.sums_cdb[i]) +
                     (own != 0 ? first.cdb[i] : 0);
    out.db[i] = sum * kShare[std::min<std::size_t>(known, kRecent)];
  }
  return out;
}

/// Nothing that could be explained with the gain that is asked for: the squares add up to too
/// little. Mostly so, and cheaper than to weigh it.
bool ChangeWatch::quiet(const Mean& before, const Mean& after, std::size_t scale) const {
  double squares = 0;
  for (std::size_t i = 0; i < kStreams; ++i) {
    if (!before.known[i] || !after.known[i]) continue;
    const double by_db = after.db[i] - before.db[i];
    squares += by_db * by_db /
               std::max(static_cast<double>(square_[scale][i]), kLeastSigmaDb * kLeastSigmaDb);
  }
  return squares < 2 * kPathCandidateGain;
}

ChangeWatch::Means ChangeWatch::means_after() const {
  Means out;
  for (std::size_t s = 0; s < kScales; ++s)
    if (recent_.size() >= kAfter[s] + kBefore[s]) out[s] = mean_of(0, kAfter[s]);
  return out;
}

double ChangeWatch::sigma_db(std::size_t stream, double blocks_after) const {
  std::size_t scale = 0;
  while (scale + 1 < kScales && static_cast<double>(kAfter[scale + 1]) <= blocks_after) ++scale;
  double square = static_cast<double>(square_[scale][stream]);
  // Beyond an hour the levels wander on, up to what hours differ by at all.
  if (blocks_after > 16) {
    const double hour = rhythms_[stream].hour_sigma_db();
    square = std::min(square * blocks_after / 16, std::max(square, 2 * hour * hour));
  }
  return std::max(kLeastSigmaDb, std::sqrt(square));
}

Changes ChangeWatch::changes_between(const Mean& before, const Mean& after,
                                     double blocks_after) const {
  Changes out;
  for (std::size_t i = 0; i < kStreams; ++i) {
    out.known[i] = before.known[i] && after.known[i];
    out.by_db[i] = after.db[i] - before.db[i];
    out.sigma_db[i] = sigma_db(i, blocks_after);
  }
  out.one_way = !both_;
  out.way = way_;
  return out;
}

void ChangeWatch::learn_jumps(const Means& after_means) {
  if (jumps_ == 0)
    for (std::size_t s = 0; s < kScales; ++s)
      for (std::size_t i = 0; i < kStreams; ++i)
        square_[s][i] = static_cast<float>(kPriorDb[s][i] * kPriorDb[s][i]);
  ++jumps_;
  const double weight = 1 / std::min(kMostJumps, kPriorJumps + jumps_);
  for (std::size_t s = 0; s < kScales; ++s) {
    if (recent_.size() < kAfter[s] + kBefore[s]) continue;
    const Mean& after = after_means[s];
    const Mean before = mean_of(kAfter[s], kBefore[s]);
    for (std::size_t i = 0; i < kStreams; ++i) {
      if (!after.known[i] || !before.known[i]) continue;
      const double usual = static_cast<double>(square_[s][i]);
      const double by = after.db[i] - before.db[i];
      // A change counts no more than three of the usual ones: 2 % are added for what that cuts off.
      const double square = 1.02 * std::min(by * by, 9 * usual);
      square_[s][i] = static_cast<float>(std::max(1e-4, usual + weight * (square - usual)));
    }
  }
}

void ChangeWatch::add(const link::Block& block, bool judged) {
  std::erase_if(suspects_, [](const Suspect& s) {
    return s.state == Suspect::State::over || s.state == Suspect::State::accepted;
  });
  // A site that has been declared a moving one: nothing would ever end what was told of its
  // signals.
  if (moving_) std::erase_if(suspects_, [](const Suspect& s) { return !of_noise(s.what.cause); });
  Levels levels = levels_of(block);
  const std::int64_t hour = hour_of(block.to - Duration{1});
  if (hour != hour_) {
    if (hour_ != INT64_MIN) close_hour(last_at_, judged);
    hour_ = hour;
  }
  last_at_ = block.to;
  span_ = std::max(Duration{std::chrono::minutes{1}}, block.to - block.from);
  for (std::size_t i = 0; i < kStreams; ++i) {
    if (!levels.known[i]) continue;
    if (judged) {  // an hour of upkeep is no usual one
      hour_sum_[i] += levels.db[i];
      ++hour_count_[i];
    }
    levels.db[i] -= rhythms_[i].daily_db(block.to);
  }
  push(levels);
  returned_ *= kReturnedFade;
  const Means after = means_after();
  learn_jumps(after);
  for (Suspect& suspect : suspects_) ++suspect.blocks;
  if (!judged) return;
  look_for_steps(block, after);
  for (Suspect& suspect : suspects_) {
    if (suspect.state == Suspect::State::pending)
      judge_pending(suspect, block.to);
    else if (suspect.told() && suspect.shape != Shape::cycle)
      judge_told(suspect, block.to);
  }
  std::erase_if(suspects_, [](const Suspect& s) {
    return s.state == Suspect::State::over && s.told_at == Time{};
  });
}

void ChangeWatch::settle() {
  recent_.clear();
  std::erase_if(suspects_, [](const Suspect& s) { return s.state == Suspect::State::pending; });
}

void ChangeWatch::postpone_acceptance(Duration by) {
  for (Suspect& suspect : suspects_)
    if (suspect.told()) suspect.grown_at = std::max(suspect.told_at, suspect.grown_at) + by;
}

void ChangeWatch::shift(Duration step) {
  for (Suspect& suspect : suspects_) {
    suspect.onset += step;
    if (suspect.told_at != Time{}) suspect.told_at += step;
    if (suspect.grown_at != Time{}) suspect.grown_at += step;
  }
  last_at_ += step;
  for (std::size_t i = 0; i < hours_.size(); ++i) hours_[i].end += step;
  for (estimate::DailyRhythm& rhythm : rhythms_) rhythm.shift(step);
  // The hour under way goes on, whatever it is called now.
  if (hour_ != INT64_MIN) hour_ = hour_of(last_at_ - Duration{1});
}

// ---- steps ---------------------------------------------------------------------------------

/// A change that is watched already shows in every window that reaches over its onset. A pending
/// one that a stronger explanation of the same moment replaces is dropped.
bool ChangeWatch::is_same_event(const Explanation& found, std::size_t blocks_back) {
  for (Suspect& s : suspects_) {
    if (s.shape != Shape::step || s.state == Suspect::State::over ||
        s.state == Suspect::State::accepted)
      continue;
    const bool same_moment = s.blocks <= blocks_back + 3 && blocks_back <= s.blocks + 3;
    if (same_moment && s.state == Suspect::State::pending && s.what.cause != found.cause &&
        found.gain > 1.3 * s.what.gain) {
      s.state = Suspect::State::over;
      continue;
    }
    const bool its_onset_inside = s.blocks <= blocks_back + kReferenceBlocks + 3;
    const bool both_kinds =
        of_path(s.what.cause) != of_path(found.cause) && s.blocks > blocks_back + 3;
    if (its_onset_inside && !both_kinds) return true;
  }
  return false;
}

void ChangeWatch::look_for_steps(const link::Block& block, const Means& after_means) {
  if (jumps_ < kFewestJumps || suspects_.size() >= 6) return;
  std::optional<Explanation> best;
  Mean reference;
  std::size_t blocks_back = 0;
  for (std::size_t s = 0; s < kScales; ++s) {
    const std::size_t after_blocks = kAfter[s];
    if (recent_.size() < after_blocks + kBefore[s]) continue;
    // The block in which it began lies between the two.
    const std::size_t skip = after_blocks < 16 ? 1 : 0;
    const Mean before = mean_of(after_blocks + skip, std::min(kBefore[s], kReferenceBlocks));
    if (quiet(before, after_means[s], s)) continue;
    const Changes changes =
        changes_between(before, after_means[s], static_cast<double>(after_blocks));
    const auto found = explain(changes);
    if (!found || found->size_db < kCandidateDb) continue;
    if (jumps_ < kYoung && (found->gain < kPlainGain || found->size_db < kPlainDb)) continue;
    if (found->gain < (of_path(found->cause) ? kPathCandidateGain : kCandidateGain)) continue;
    if (found->misfit > 6 + kMostMisfit * 2 * found->gain) continue;
    if (best && found->gain <= best->gain) continue;
    best = found;
    reference = before;
    blocks_back = after_blocks;
  }
  if (!best || is_same_event(*best, blocks_back)) return;
  Suspect suspect;
  suspect.what = *best;
  suspect.shape = Shape::step;
  suspect.blocks = static_cast<std::uint32_t>(blocks_back);
  const Duration span = block.to - block.from;
  suspect.onset = block.to - span * static_cast<std::int64_t>(blocks_back) - span / 2;
  suspect.before_db = reference.db;
  suspect.before_known = reference.known;
  suspect.best_gain = best->gain;
  suspects_.push_back(suspect);
}

/// Weather comes over many minutes, a fallen branch does not: the common signal around the onset is
/// fitted by a step and by ramps of 12 minutes and more, wherever they fit best.
bool ChangeWatch::began_at_once(const Suspect& suspect) const {
  constexpr std::array<double, 5> kRamps = {18, 24, 30, 45, 60};  // minutes
  constexpr std::size_t kAround = 20;
  constexpr double kBetter = 2;  // log-likelihood
  const std::size_t after = std::min<std::size_t>(suspect.blocks, kAround);
  const std::size_t oldest = std::min(recent_.size(), suspect.blocks + kAround);
  std::array<double, 2 * kAround + 1> y{};
  std::size_t count = 0;
  for (std::size_t back = oldest; back-- > suspect.blocks - after;) {
    const Values& values = recent_[recent_.size() - 1 - back];
    if (!values.has(0)) return false;
    y[count++] = values.cdb[0] / 100.0;
    if (count == y.size()) break;
  }
  const double sigma = sigma_db(0, 1);
  const double noise = sigma * sigma / 1.25;  // of one block: the learned one is of a difference
  const auto left_over = [&](double from, double length, std::size_t without) {
    double n = 0, sf = 0, sff = 0, sy = 0, syy = 0, sfy = 0;
    for (std::size_t k = 0; k < count; ++k) {
      if (k == without) continue;
      const double f = std::clamp((static_cast<double>(k) + 0.5 - from) / length, 0.0, 1.0);
      n += 1;
      sf += f;
      sff += f * f;
      sy += y[k];
      syy += y[k] * y[k];
      sfy += f * y[k];
    }
    const double spread = sff - sf * sf / n;
    const double cross = sfy - sf * sy / n;
    const double total = syy - sy * sy / n;
    return (spread > 0 ? total - cross * cross / spread : total) / n * static_cast<double>(count);
  };
  double step = 1e300, ramp = 1e300;
  for (std::size_t at = 2; at + 2 <= count; ++at) {
    step = std::min(step, left_over(static_cast<double>(at), 0.01, at));
    for (const double minutes : kRamps) {
      const double length = minutes * 60e6 / static_cast<double>(span_.count());
      ramp = std::min(ramp, left_over(static_cast<double>(at) - length / 2, length, count));
    }
  }
  return (ramp - step) / (2 * noise) > kBetter;
}

void ChangeWatch::judge_pending(Suspect& suspect, Time now) {
  Mean before{suspect.before_db, suspect.before_known};
  // The path wanders by itself: whether a change of it is still there takes hours to say.
  const bool of_long = of_path(suspect.what.cause) && suspect.abrupt && suspect.blocks > 40;
  // The first block may hold the onset itself.
  const std::size_t whole = suspect.blocks >= 3 ? suspect.blocks - 1 : suspect.blocks;
  const std::size_t span = std::min<std::size_t>(whole, of_long ? kPatientBlocks : 20);
  const Changes changes = changes_between(before, mean_of(0, span), suspect.blocks);
  const auto found = explain(changes);
  const double left = size_of(suspect.what.cause, changes);
  const bool patient = of_path(suspect.what.cause) && suspect.abrupt;
  if ((!found && !patient) || left < 0.45 * suspect.what.size_db || (!patient && found->gain < 4)) {
    if (of_path(suspect.what.cause) && suspect.abrupt) returned_ += 1;
    suspect.state = Suspect::State::over;
    return;
  }
  if (found && (suspect.blocks <= 20 || (!patient && found->cause == suspect.what.cause))) {
    suspect.best_gain = std::max(suspect.best_gain, found->gain);
    suspect.own_proof = own_proof(found->cause, changes);
    suspect.what = *found;
    suspect.confidence = confidence_of(found->lead);
  }
  const bool matters = of_path(suspect.what.cause) || of_antenna(suspect.what.cause);
  if (!matters) suspect.abrupt = false;
  if (matters && (suspect.blocks == 4 || suspect.blocks == 8 || suspect.blocks == 12 ||
                  suspect.blocks == 16 || suspect.blocks == 24))
    suspect.abrupt = began_at_once(suspect);
  if (may_be_told(suspect) && still_there(suspect)) tell(suspect, now);
  // What has lasted so long without being told is left to the look over days.
  const std::uint32_t patience = of_path(suspect.what.cause) && suspect.abrupt ? 300 : 60;
  if (suspect.state == Suspect::State::pending && suspect.blocks > patience)
    suspect.state = Suspect::State::over;
}

/// The newest blocks alone show it as well: a fade that decays is let go.
bool ChangeWatch::still_there(const Suspect& suspect) const {
  const bool patient = suspect.blocks >= 60;  // then the level wanders by itself as well
  const double still = patient ? 0.5 : 0.7;
  Mean before{suspect.before_db, suspect.before_known};
  const std::size_t newest = patient               ? kPatientBlocks
                             : suspect.blocks >= 7 ? 3
                             : suspect.blocks >= 4 ? 2
                                                   : 1;
  const Changes changes = changes_between(before, mean_of(0, newest), static_cast<double>(newest));
  return size_of(suspect.what.cause, changes) >= still * suspect.what.size_db;
}

bool ChangeWatch::may_be_told(const Suspect& s) const {
  const double size_db = s.what.size_db;
  // A level that wanders by itself makes the proof of a lasting change weaker with time, not the
  // change: what counts then is that it began at once and is still there.
  const bool proven = s.what.gain >= kTellGain || (s.abrupt && s.best_gain >= kCandidateGain);
  if (!proven) return false;
  // More than weather takes, for an hour: however it began.
  const bool of_weather = of_path(s.what.cause) || of_antenna(s.what.cause);
  if (of_weather && size_db >= kMoreThanWeatherDb && s.blocks >= 3 &&
      span_ * std::int64_t{s.blocks} >= std::chrono::hours{1})
    return true;
  if (of_path(s.what.cause)) {
    const auto wait = static_cast<std::uint32_t>(std::min(4.0, 1 + returned_));
    if (size_db >= 4.5 && s.abrupt) return s.blocks >= 4;
    if (size_db >= 2.5 && s.abrupt) return s.blocks >= 16 * wait;
    return size_db >= 1.6 && s.abrupt && s.blocks >= 120 * wait;
  }
  if (of_antenna(s.what.cause))
    return s.abrupt && size_db >= 1.8 && s.what.noise_db > 0.5 &&
           s.blocks >= (size_db >= 4.5 ? 4U : 16U);
  if (size_db < 1.3) return false;
  const bool noise = s.what.cause == Cause::near_noise || s.what.cause == Cause::far_noise;
  if (!noise && size_db < 1.5) return false;
  const std::uint32_t enough = size_db >= 2.4 ? 3 : noise || s.what.noise_db > 0 ? 7 : 10;
  return s.own_proof && s.blocks >= enough && s.what.lead > 1;
}

void ChangeWatch::tell(Suspect& suspect, Time now) {
  suspect.state = Suspect::State::told;
  suspect.told_at = now;
  Changes like;
  like.one_way = !both_;
  like.way = way_;
  suspect.effect_db = effect_of(suspect.what, like);
  suspect.one_way = !both_;
  suspect.way = way_;
  // The hours since its onset are cleaned of it.
  const std::size_t hours = hours_since(suspect.onset);
  for (std::size_t back = 0; back < hours; ++back)
    for (std::size_t i = 0; i < kStreams; ++i)
      move(hours_[hours_.size() - 1 - back], i, -suspect.effect_db[i]);
}

/// How many of the newest hours end later: after a gap, or where reports are rare, not one for each
/// hour.
std::size_t ChangeWatch::hours_since(Time at) const {
  std::size_t count = 0;
  while (count < hours_.size() && hours_[hours_.size() - 1 - count].end > at) ++count;
  return count;
}

void ChangeWatch::move(Hour& hour, std::size_t stream, double by_db) {
  for (std::int16_t* each : {&hour.raw_cdb[stream], &hour.value_cdb[stream], &hour.day_cdb[stream]})
    *each = moved(*each, by_db);
}

void ChangeWatch::end(Suspect& suspect, Suspect::State how) {
  suspect.state = how;
  if (how == Suspect::State::accepted) {
    for (std::size_t i = 0; i < kStreams; ++i) {
      rhythms_[i].shift_level(suspect.effect_db[i]);
      day_level_db_[i] += suspect.effect_db[i];
      for (std::size_t h = 0; h < hours_.size(); ++h) {
        move(hours_[h], i, suspect.effect_db[i]);
        hours_[h].level_cdb[i] = moved(hours_[h].level_cdb[i], suspect.effect_db[i]);
      }
    }
    return;
  }
  take_back(suspect);
  // Those that began later have it in what was before them.
  for (Suspect& other : suspects_)
    if (&other != &suspect && other.onset > suspect.onset)
      for (std::size_t i = 0; i < kStreams; ++i) other.before_db[i] -= suspect.effect_db[i];
}

/// What was told and did not last: the hours in which it was not there are given back what was
/// taken from them.
void ChangeWatch::take_back(const Suspect& suspect) {
  const std::size_t lived = hours_since(suspect.onset);
  for (std::size_t i = 0; i < kStreams; ++i) {
    if (std::abs(suspect.effect_db[i]) < 0.05) continue;
    for (std::size_t back = 0; back < lived; ++back) {
      Hour& hour = hours_[hours_.size() - 1 - back];
      const double off_db = hour.value_cdb[i] / 100.0 - rhythms_[i].level();
      if (std::abs(off_db + suspect.effect_db[i]) < std::abs(off_db))
        move(hour, i, suspect.effect_db[i]);
    }
  }
}

void ChangeWatch::judge_told(Suspect& suspect, Time now) {
  if (suspect.what.cause == Cause::none) return;
  const std::size_t span =
      std::min<std::size_t>(suspect.blocks, suspect.shape == Shape::drift ? 40 : 10);
  Mean before{suspect.before_db, suspect.before_known};
  for (const Suspect& other : suspects_)
    if (&other != &suspect && other.told() && other.onset > suspect.onset)
      for (std::size_t i = 0; i < kStreams; ++i) before.db[i] += other.effect_db[i];
  const Changes changes = changes_between(before, mean_of(0, span), suspect.blocks);
  bool any = false;
  for (std::size_t i = 0; i < kStreams; ++i)
    any = any || (changes.known[i] && std::abs(suspect.effect_db[i]) > 0.05);
  if (!any || (of_antenna(suspect.what.cause) && !changes.has(Stream::common)))
    return;  // nothing is heard of what it changed
  const double left_db = size_of(suspect.what.cause, changes);
  const bool gone = left_db < kTold * suspect.what.size_db;
  suspect.gone_blocks = gone ? suspect.gone_blocks + 1 : 0;
  const std::uint32_t needed = suspect.shape == Shape::drift ? 240U
                               : of_path(suspect.what.cause) || of_antenna(suspect.what.cause) ? 20U
                                                                                               : 6U;
  if (suspect.gone_blocks >= needed) {
    if (of_path(suspect.what.cause) && now - suspect.onset < std::chrono::hours{24}) returned_ += 1;
    end(suspect, Suspect::State::over);
    return;
  }
  // In its first hours more is learned about what it is.
  if (suspect.shape == Shape::step && suspect.blocks <= 60) {
    const auto found = explain(changes);
    const bool other =
        found && found->cause != suspect.what.cause && found->lead > 3 && found->gain > kTellGain;
    suspect.other_blocks = other ? suspect.other_blocks + 1 : 0;
    if (suspect.other_blocks >= 5 ||
        (found && found->cause == suspect.what.cause && suspect.blocks <= 40 && !gone)) {
      suspect.what = *found;
      suspect.confidence = confidence_of(found->lead);
      suspect.effect_db = effect_of(*found, changes);
      suspect.other_blocks = 0;
    }
  }
  // What still grows is not the new usual.
  if (now - std::max(suspect.told_at, suspect.grown_at) > kAcceptAfter)
    end(suspect, Suspect::State::accepted);
}

// ---- days ----------------------------------------------------------------------------------

void ChangeWatch::told_effects(Vector& sum) const {
  for (const Suspect& s : suspects_)
    if (s.told())
      for (std::size_t i = 0; i < kStreams; ++i) sum[i] += s.effect_db[i];
}

void ChangeWatch::close_hour(Time now, bool judged) {
  Hour hour;
  Vector effects{};
  told_effects(effects);
  for (std::size_t i = 0; i < kStreams; ++i) {
    if (hour_count_[i] == 0) continue;
    const double value = hour_sum_[i] / hour_count_[i] - effects[i];
    if (judged) rhythms_[i].add(now, value);
    hour.known = static_cast<std::uint8_t>(hour.known | 1U << i);
    hour.raw_cdb[i] = static_cast<std::int16_t>(std::clamp(value, -320.0, 320.0) * 100);
    const double free = value - rhythms_[i].daily_db(now - std::chrono::minutes{30});
    hour.value_cdb[i] = static_cast<std::int16_t>(std::clamp(free, -320.0, 320.0) * 100);
  }
  hour_sum_ = {};
  hour_count_ = {};
  if (hours_.capacity() < kHours) hours_.reserve(kHours);
  if (hours_.size() == kHours) hours_.pop();
  hour.end = now;
  hours_.push(hour);
  ++hours_seen_;
  if (!judged) return;
  teach_rhythms();
  learn_days();
  look_for_drifts(now);
  look_for_cycles(now);
}

/// Three days late, less while young: what grows within days is seen before it is learned.
void ChangeWatch::teach_rhythms() {
  const std::uint32_t late = std::min<std::uint32_t>(72, hours_seen_ / 3);
  while (hours_taught_ + late < hours_seen_) {
    const std::size_t back = hours_seen_ - 1 - hours_taught_;
    ++hours_taught_;
    if (back >= hours_.size()) continue;
    const Hour& hour = hours_[hours_.size() - 1 - back];
    for (std::size_t i = 0; i < kStreams; ++i)
      if ((hour.known >> i & 1U) != 0) rhythms_[i].learn(hour.end, hour.raw_cdb[i] / 100.0);
  }
}

/// The level of the newest day, and how much it usually differs from that of the day before: what a
/// drift has to stand out from. Of the common signal the upper third counts: rain only lowers it.
void ChangeWatch::learn_days() {
  constexpr double kPrior = 48, kSlowest = 21 * 24, kMostSize = 3.5, kSlowestLevel = 60 * 24;
  if (hours_.size() < kDay) return;
  Hour& newest = hours_.back();
  for (std::size_t i = 0; i < kStreams; ++i) {
    const auto day_db = quantile_of_hours(i, 0, kDay);
    if (!day_db) continue;
    newest.day_cdb[i] = static_cast<std::int16_t>(100 * *day_db);
    newest.day_known = static_cast<std::uint8_t>(newest.day_known | 1U << i);
    if (day_level_hours_[i] == 0) day_level_db_[i] = *day_db;
    day_level_hours_[i] += 1;
    const double off = *day_db - day_level_db_[i];
    learn_day_off(i);
    const double limit = 4 * day_step_db_[i];
    day_level_db_[i] +=
        std::clamp(off, -limit, limit) / std::min<double>(day_level_hours_[i], kSlowestLevel);
    newest.level_cdb[i] = static_cast<std::int16_t>(100 * day_level_db_[i]);
    if (hours_.size() < 2 * kDay) continue;
    const Hour& yesterday = hours_[hours_.size() - 1 - kDay];
    if ((yesterday.day_known >> i & 1U) == 0) continue;
    const double size_db = std::abs(newest.day_cdb[i] - yesterday.day_cdb[i]) / 100.0;
    const double gain = 1 / std::min(kSlowest, kPrior + day_level_hours_[i]);
    day_step_db_[i] += gain * (std::min(size_db, kMostSize * day_step_db_[i]) - day_step_db_[i]);
  }
}

/// How far days usually are from the slow level, learned a day late: a drift that grows within
/// days is seen before it counts as usual.
void ChangeWatch::learn_day_off(std::size_t stream) {
  constexpr double kPrior = 24, kSlowest = 21 * 24, kMostSize = 3.5;
  constexpr std::size_t kLate = kDay;
  if (hours_.size() <= kLate) return;
  const Hour& then = hours_[hours_.size() - 1 - kLate];
  if ((then.day_known >> stream & 1U) == 0) return;
  const double off_db = std::abs(then.day_cdb[stream] - then.level_cdb[stream]) / 100.0;
  double& usual = day_off_db_[stream];
  usual += (std::min(off_db, kMostSize * usual) - usual) /
           std::min(kSlowest, kPrior + day_level_hours_[stream]);
}

std::optional<double> ChangeWatch::quantile_of_hours(std::size_t stream, std::size_t first_back,
                                                     std::size_t count) const {
  constexpr double kUpperOfSignal = 0.67;
  std::array<std::int16_t, kDay> values{};
  std::size_t n = 0;
  for (std::size_t back = first_back; back < first_back + count && n < kDay; ++back) {
    const Hour& hour = hours_[hours_.size() - 1 - back];
    if ((hour.known >> stream & 1U) != 0) values[n++] = hour.value_cdb[stream];
  }
  if (n * 2 < count) return {};
  const double q = stream == 0 ? kUpperOfSignal : 0.5;
  const auto at =
      values.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(n - 1) + 0.5);
  std::nth_element(values.begin(), at, values.begin() + static_cast<std::ptrdiff_t>(n));
  return *at / 100.0;
}

/// Mean of the levels of the days that end `first_back` hours ago and before that.
std::optional<double> ChangeWatch::mean_of_days(std::size_t stream, std::size_t first_back,
                                                std::size_t days) const {
  double sum = 0;
  std::size_t known = 0;
  for (std::size_t day = 0; day < days; ++day) {
    const Hour& hour = hours_[hours_.size() - 1 - first_back - day * kDay];
    if ((hour.day_known >> stream & 1U) == 0) continue;
    sum += hour.day_cdb[stream] / 100.0;
    ++known;
  }
  if (known * 2 < days || known == 0) return {};
  return sum / static_cast<double>(known);
}

bool ChangeWatch::told_since(Time since) const {
  return std::ranges::any_of(suspects_, [&](const Suspect& s) {
    return s.told() && s.shape == Shape::step && s.onset > since;
  });
}

/// The difference of the two signals is so quiet that six hours show a fading transmitter; compared
/// with the day that ended twelve hours ago.
std::optional<std::pair<Explanation, Changes>> ChangeWatch::drift_of_hours() const {
  constexpr std::size_t kSpan = 6, kApart = 12;
  constexpr double kSigmaDb[kStreams] = {1.2, 0.22, 0.7, 0.7};  // at least; rural paths
  constexpr double kDays = 1.8;  // deviations of a day's level make one of six hours
  constexpr double kGain = 12.5, kLeastSizeDb = 1.2;
  if (hours_.size() < kApart + kDay) return {};
  Changes changes, older, younger;
  changes.one_way = !both_;
  changes.way = way_;
  older = younger = changes;
  for (std::size_t i = 0; i < kStreams; ++i) {
    const auto level = quantile_of_hours(i, kApart, kDay), all = quantile_of_hours(i, 0, kSpan);
    const auto young = quantile_of_hours(i, 0, kSpan / 2),
               old = quantile_of_hours(i, kSpan / 2, kSpan / 2);
    if (!level || !all || !young || !old) continue;
    changes.known[i] = older.known[i] = younger.known[i] = true;
    changes.sigma_db[i] = older.sigma_db[i] = younger.sigma_db[i] =
        std::max(kSigmaDb[i], kDays * day_step_db_[i] / 0.8 / std::sqrt(2.0));
    changes.by_db[i] = *all - *level;
    older.by_db[i] = *old - *level;
    younger.by_db[i] = *young - *level;
  }
  const auto found = explain(changes);
  if (!found || found->gain < kGain || found->size_db < kLeastSizeDb ||
      found->misfit > 6 + kMostMisfit * 2 * found->gain)
    return {};
  const bool transmitter =
      found->cause == Cause::near_transmit || found->cause == Cause::far_transmit;
  if (!transmitter || !own_proof(found->cause, changes)) return {};
  if (size_of(found->cause, older) < 0.6 * found->size_db ||
      size_of(found->cause, younger) < 0.7 * found->size_db)
    return {};
  return std::pair(*found, changes);
}

void ChangeWatch::look_for_drifts(Time now) {
  constexpr std::array<std::size_t, 5> kSpans = {1, 2, 3, 4, 8};  // days
  constexpr double kGain = 6.1, kDayGain = 7;  // log-likelihood
  // What grows is furthest in the younger half: weighing it more finds a ramp an eighth sooner.
  constexpr double kYoung = 0.7, kOld = 1 - kYoung;
  const double uneven = std::sqrt(2 * (kYoung * kYoung + kOld * kOld));
  constexpr double kLeastDb[kStreams] = {0.15, 0.12, 0.15, 0.15};
  std::optional<Explanation> best;
  std::size_t best_span = 0;
  Changes best_changes;
  for (const std::size_t days : kSpans) {
    const std::size_t span = days * kDay, reference_back = span + kDay;
    if (hours_.size() < reference_back + 1) break;
    if (days == 1 && told_since(now - std::chrono::hours{26}))
      continue;  // its share of that day is uncertain
    const Hour& reference = hours_[hours_.size() - 1 - reference_back];
    Changes changes, older, younger;
    changes.one_way = !both_;
    changes.way = way_;
    older = younger = changes;
    for (std::size_t i = 0; i < kStreams; ++i) {
      const double learned =
          static_cast<double>(day_level_hours_[i]) - static_cast<double>(reference_back);
      if ((reference.day_known >> i & 1U) == 0 || learned < 12) continue;
      const double level_db = reference.level_cdb[i] / 100.0;
      const auto young = days == 1 ? quantile_of_hours(i, 0, 12) : mean_of_days(i, 0, days / 2);
      const auto old =
          days == 1 ? quantile_of_hours(i, 12, 12) : mean_of_days(i, span / 2, days / 2);
      if (!young || !old) continue;
      // Days are nearly independent of each other.
      const double day_sigma = std::max(day_step_db_[i] / std::sqrt(2.0), day_off_db_[i]) / 0.8;
      const double sigma =
          day_sigma * std::hypot(uneven * std::pow(static_cast<double>(days), -0.45),
                                 std::pow(std::max(1.0, learned / 24), -0.5));
      changes.known[i] = older.known[i] = younger.known[i] = true;
      changes.sigma_db[i] = older.sigma_db[i] = younger.sigma_db[i] = std::max(kLeastDb[i], sigma);
      changes.by_db[i] = kYoung * *young + kOld * *old - level_db;
      older.by_db[i] = *old - level_db;
      younger.by_db[i] = *young - level_db;
    }
    const auto found = explain(changes);
    if (!found || found->gain < (days == 1 ? kDayGain : kGain) ||
        found->misfit > 6 + kMostMisfit * 2 * found->gain)
      continue;
    const bool noise = found->cause == Cause::near_noise || found->cause == Cause::far_noise;
    const double least_db = of_path(found->cause) || of_antenna(found->cause) ? 1.2
                            : noise                                           ? 1.0
                                                                              : 0.8;
    if (found->size_db < least_db) continue;
    if (size_of(found->cause, younger) < 0.7 * found->size_db ||
        size_of(found->cause, older) < (days == 1 ? 0.4 : 0.25) * found->size_db)
      continue;
    if (best && found->gain <= best->gain) continue;
    best = found;
    best_span = span;
    best_changes = changes;
  }
  if (!best) {
    const auto hours = told_since(now - std::chrono::hours{26}) ? std::nullopt : drift_of_hours();
    if (hours) {
      best = hours->first;
      best_changes = hours->second;
      best_span = 12;
    }
  }
  if (!best) return;
  for (Suspect& s : suspects_) {
    if (!s.told() || s.what.cause != best->cause || s.shape == Shape::cycle) continue;
    // More of what was told already.
    const Vector more = effect_of(*best, best_changes);
    for (std::size_t i = 0; i < kStreams; ++i) {
      s.effect_db[i] += more[i];
      for (std::size_t back = 0; back < std::min(best_span / 2, hours_.size()); ++back)
        move(hours_[hours_.size() - 1 - back], i, -more[i]);
    }
    s.what.size_db += best->size_db;
    s.grown_at = now;
    return;
  }
  Suspect suspect;
  suspect.what = *best;
  suspect.shape = Shape::drift;
  suspect.onset = hours_[hours_.size() - 1 - best_span].end;
  suspect.confidence = confidence_of(best->lead);
  for (std::size_t i = 0; i < kStreams; ++i) {
    suspect.before_db[i] = rhythms_[i].level();
    suspect.before_known[i] = rhythms_[i].hours() > 0;
  }
  tell(suspect, now);
  suspects_.push_back(suspect);
}

void ChangeWatch::look_for_cycles(Time now) {
  constexpr double kFarOut = 5;  // times the usual square
  constexpr double kClear = 20;   // times the variance of the hours about it
  constexpr double kPrior = 48, kSlowest = 21 * kDay, kMostSize = 5;
  constexpr std::size_t kDaysOfCycle = 3;
  // What grows from nothing weighs most where it has grown most; squares add up to one.
  constexpr std::array<double, kDaysOfCycle> kWeight = {0.845, 0.507, 0.169};
  constexpr double kWeights = 0.845 + 0.507 + 0.169;
  if (hours_.size() < (kDaysOfCycle + 1) * kDay) return;
  const bool young = hours_.size() < 5 * kDay;  // learns how much is usual, tells nothing
  // A step within these days looks like half a turn.
  const bool disturbed = std::ranges::any_of(suspects_, [&](const Suspect& s) {
    return s.shape == Shape::step && (s.abrupt || s.told()) &&
           now - s.onset < std::chrono::hours{78};
  });
  constexpr std::array<std::pair<Stream, Cause>, 3> kLooked = {
      {{Stream::common, Cause::path},
       {Stream::near_noise, Cause::near_noise},
       {Stream::far_noise, Cause::far_noise}}};
  for (const auto& [stream, cause] : kLooked) {
    const auto i = static_cast<std::size_t>(stream);
    std::array<double, kDaysOfCycle> c{}, s{}, sum{}, squares{}, known{};
    std::size_t count = 0;
    for (std::size_t back = 0; back < kDaysOfCycle * kDay; ++back) {
      const Hour& hour = hours_[hours_.size() - 1 - back];
      if ((hour.known >> i & 1U) == 0) continue;
      ++count;
      const double angle =
          2 * std::numbers::pi * static_cast<double>(hour_of(hour.end - Duration{1}) % 24) / 24;
      const double value = static_cast<double>(hour.value_cdb[i]) / 100 - rhythms_[i].level();
      c[back / kDay] += value * std::cos(angle) / 12;
      s[back / kDay] += value * std::sin(angle) / 12;
      sum[back / kDay] += value;
      squares[back / kDay] += value * value;
      known[back / kDay] += 1;
    }
    if (count < 22 * kDaysOfCycle) continue;
    double sum_c = 0, sum_s = 0, rest = 0;
    for (std::size_t day = 0; day < kDaysOfCycle; ++day) {
      sum_c += kWeight[day] * c[day];
      sum_s += kWeight[day] * s[day];
      const double mean = sum[day] / known[day];
      const double turn = (c[day] * c[day] + s[day] * s[day]) / 2;
      rest += kWeight[day] * kWeight[day] *
              std::max(0.0, squares[day] / known[day] - mean * mean - turn);
    }
    const double square = sum_c * sum_c + sum_s * sum_s;
    const double mean_c = sum_c / kWeights, mean_s = sum_s / kWeights;
    const double amplitude = std::hypot(mean_c, mean_s);
    // The last two days swing that way, not one alone by much, and the third does not contradict.
    constexpr std::array<double, kDaysOfCycle> kAlike = {0.5, 0.35, -0.25};
    bool every_day = true;
    for (std::size_t day = 0; day < kDaysOfCycle; ++day)
      every_day =
          every_day && c[day] * mean_c + s[day] * mean_s > kAlike[day] * amplitude * amplitude;
    const double usual = cycle_square_[i];
    const double gain = 1 / std::min(kSlowest, kPrior + rhythms_[i].hours());
    cycle_square_[i] += gain * (std::min(square, kMostSize * usual) - usual);
    const auto told = std::ranges::find_if(suspects_, [&](const Suspect& x) {
      return x.told() && x.shape == Shape::cycle && x.what.cause == cause;
    });
    if (told != suspects_.end()) {
      told->gone_blocks = amplitude < 0.5 * told->what.size_db ? told->gone_blocks + 1 : 0;
      if (amplitude > told->what.size_db) told->what.size_db = amplitude;
      if (told->gone_blocks >= 12) told->state = Suspect::State::over;
      continue;
    }
    // The rhythm itself is known as well as the days allow that it was learned from.
    const double uncertain = 1 + 72.0 / std::max(24.0, static_cast<double>(hours_taught_));
    // Showers leave as much beside the swing as in it.
    const bool clear = square >= kClear * rest;
    const bool grown =
        amplitude >= 1.0 && square >= kFarOut * usual * uncertain && every_day && clear;
    if (young || disturbed || !grown) continue;
    Suspect suspect;
    suspect.state = Suspect::State::told;
    suspect.what.cause = cause;
    suspect.what.size_db = std::max(amplitude, std::hypot(c[0], s[0]));
    suspect.shape = Shape::cycle;
    suspect.onset = now - std::chrono::hours{72};
    suspect.told_at = now;
    suspect.confidence = 0.9;
    suspects_.push_back(suspect);
  }
}

// ---- what it says --------------------------------------------------------------------------

bool ChangeWatch::unsettled() const {
  return std::ranges::any_of(suspects_,
                             [](const Suspect& s) { return s.state == Suspect::State::pending; });
}

Changes ChangeWatch::off_usual(std::size_t blocks, double blocks_after,
                               std::uint32_t fewest_hours) const {
  Mean usual;
  for (std::size_t i = 0; i < kStreams; ++i) {
    usual.db[i] = rhythms_[i].level();
    usual.known[i] = rhythms_[i].hours() >= fewest_hours && rhythms_[i].level_hours() > 0;
  }
  return changes_between(usual, mean_of(0, std::min(blocks, recent_.size())), blocks_after);
}

Changes ChangeWatch::off_usual_now() const {
  constexpr std::uint32_t kFewestToSay = 3;
  constexpr double kAnHour = 20;  // blocks: how much levels wander within one
  const auto blocks = std::clamp<std::int64_t>(std::chrono::minutes{30} / span_, 1, 20);
  return off_usual(static_cast<std::size_t>(blocks), kAnHour, kFewestToSay);
}

void ChangeWatch::rebaseline() {
  const Changes now = off_usual();
  for (std::size_t i = 0; i < kStreams; ++i)
    if (now.known[i]) {
      rhythms_[i].shift_level(now.by_db[i]);
      day_level_db_[i] += now.by_db[i];
    }
  for (Suspect& suspect : suspects_)
    if (suspect.told()) suspect.state = Suspect::State::accepted;
  std::erase_if(suspects_, [](const Suspect& s) { return s.state == Suspect::State::pending; });
  hours_.clear();
}

}  // namespace fadeward::judge
