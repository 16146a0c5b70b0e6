#include "fadeward/judge/change_watch.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace fadeward::judge {

namespace {

using Vector = std::array<double, kStreams>;

constexpr std::size_t kFewestFrames = 4;                         // of a direction in a block
constexpr std::array<std::size_t, 5> kAfter = {1, 2, 4, 8, 16};  // blocks
constexpr std::array<std::size_t, 5> kBefore = {4, 4, 6, 8, 16};
// What is usual before anything was learned (fading of a rural path, 18 frames a block).
constexpr double kPriorDb[5][kStreams] = {{0.55, 0.85, 0.45, 0.45},
                                          {0.50, 0.65, 0.40, 0.40},
                                          {0.45, 0.50, 0.40, 0.40},
                                          {0.55, 0.40, 0.40, 0.40},
                                          {0.70, 0.35, 0.45, 0.45}};
constexpr double kPriorJumps = 40, kMostJumps = 2500;
constexpr double kLeastSigmaDb = 0.12;
constexpr std::uint32_t kFewestJumps =
    15;                               // three quarters of an hour before anything is suspected,
constexpr std::uint32_t kYoung = 40;  // and only what is plain before two hours
constexpr double kPlainGain = 30, kPlainDb = 4;
constexpr std::size_t kReferenceBlocks = 6;  // before a change, of the path
// All other streams hardly wander: the longer they are looked at before a change, the better.
constexpr std::array<std::size_t, 5> kSteadyBefore = {8, 12, 16, 24, 40};
constexpr double kCandidateGain = 12.5;   // five standard deviations
constexpr double kPathCandidateGain = 8;  // four: the path has to prove itself by lasting
constexpr std::uint32_t kBothForGood =
    40;  // see both_seen_: ten blocks with both more than missing ones
constexpr double kMoreThanWeatherDb = 10;
constexpr std::size_t kPatientBlocks = 60;
constexpr double kCandidateDb = 1.1;
constexpr double kTellGain = 16;
constexpr double kTold = 0.4;  // of its size left: it is over
constexpr double kReturnedFade = 1 - 1.0 / (14 * 480);

std::int64_t hour_of(Time at) {
  const std::int64_t us = at.time_since_epoch().count();
  constexpr std::int64_t kHourUs = 3'600'000'000;
  return us >= 0 ? us / kHourUs : -((kHourUs - 1 - us) / kHourUs);
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
  hours_.forget(stream);
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

/// What was before: of the path the blocks just before, of the rest as many as `of_rest`, unless
/// something moved among them.
ChangeWatch::Mean ChangeWatch::mean_before(std::size_t first_back, std::size_t of_path,
                                           std::size_t of_rest) const {
  Mean out = mean_of(first_back, of_path);
  const std::size_t there = recent_.size() > first_back ? recent_.size() - first_back : 0;
  const std::size_t longer = std::min(of_rest, there);
  if (longer <= of_path) return out;
  constexpr double kMoved = 6.25 * 0.55;  // 2.5 deviations of some six blocks, from those of four
  const Mean rest = mean_of(first_back, longer);
  for (std::size_t i = 1; i < kStreams; ++i) {
    const double apart_db = rest.db[i] - out.db[i];
    const double usual =
        std::max(static_cast<double>(square_[2][i]), kLeastSigmaDb * kLeastSigmaDb);
    if (rest.known[i] != out.known[i] || apart_db * apart_db > kMoved * usual) return out;
  }
  for (std::size_t i = 1; i < kStreams; ++i) out.db[i] = rest.db[i];
  return out;
}

/// How many blocks before this one nothing began in that is watched already.
std::size_t ChangeWatch::clear_before(std::size_t blocks_back) const {
  std::size_t clear = kRecent;
  for (const Suspect& s : suspects_) {
    if (s.shape != Shape::step || s.blocks <= blocks_back) continue;
    if (s.state == Suspect::State::pending || s.told())
      clear = std::min(clear, s.blocks - blocks_back - 1);
  }
  return clear;
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
    const Mean before = mean_before(kAfter[s], kBefore[s], kSteadyBefore[s]);
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
  hours_.shift(step);
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
    const std::size_t first_back = after_blocks + skip;
    const Mean before = mean_before(first_back, std::min(kBefore[s], kReferenceBlocks),
                                    std::min(kSteadyBefore[s], clear_before(first_back)));
    if (quiet(before, after_means[s], s)) continue;
    const Changes changes =
        changes_between(before, after_means[s], static_cast<double>(after_blocks));
    const auto found = explain(changes);
    if (!found || found->size_db < kCandidateDb) continue;
    if (jumps_ < kYoung && (found->gain < kPlainGain || found->size_db < kPlainDb)) continue;
    if (found->gain < (of_path(found->cause) ? kPathCandidateGain : kCandidateGain)) continue;
    if (!fits(*found)) continue;
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
  if (may_be_told(suspect) && still_there(suspect) && stands_out(suspect)) tell(suspect, now);
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

/// The blocks of up to two hours before it; empty where there are less than one, or where another
/// change lies among them.
std::optional<ChangeWatch::Mean> ChangeWatch::hours_before(const Suspect& suspect) const {
  constexpr std::size_t kMostBefore = 40, kFewestBefore = 20;
  const std::size_t skipped = suspect.blocks + 1;  // the block in which it began
  if (recent_.size() < skipped + kFewestBefore) return {};
  const std::size_t count = std::min(kMostBefore, recent_.size() - skipped);
  for (const Suspect& other : suspects_)
    if (&other != &suspect && other.shape == Shape::step && other.blocks >= suspect.blocks &&
        other.blocks <= skipped + count + kReferenceBlocks)
      return {};
  return mean_of(skipped, count);
}

/// The few blocks before a change may have been high by chance, and then what follows is low by it.
/// All streams but that of the path are steady enough to be compared with the hours before, which
/// is what the change is measured against from then on.
bool ChangeWatch::stands_out(Suspect& suspect) const {
  constexpr double kOfItsSize = 0.65;
  if (of_path(suspect.what.cause) || of_antenna(suspect.what.cause)) return true;
  const auto hours = hours_before(suspect);
  if (!hours) return true;
  Mean before{suspect.before_db, suspect.before_known};
  for (std::size_t i = 1; i < kStreams; ++i)
    if (hours->known[i] && before.known[i]) before.db[i] = hours->db[i];
  const std::size_t whole = suspect.blocks >= 3 ? suspect.blocks - 1 : suspect.blocks;
  const Changes changes =
      changes_between(before, mean_of(0, std::min<std::size_t>(whole, 20)), suspect.blocks);
  if (size_of(suspect.what.cause, changes) < kOfItsSize * suspect.what.size_db) return false;
  suspect.before_db = before.db;
  return true;
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
  suspect.effect_db = effect_of(suspect.what, heard());
  suspect.one_way = !both_;
  suspect.way = way_;
  // The hours since its onset are cleaned of it.
  take_out(hours_.since(suspect.onset), suspect.effect_db);
}

/// Of the newest hours.
void ChangeWatch::take_out(std::size_t hours, const Vector& effect_db) {
  for (std::size_t back = 0; back < hours; ++back)
    for (std::size_t i = 0; i < kStreams; ++i) hours_.back(back).move(i, -effect_db[i]);
}

void ChangeWatch::end(Suspect& suspect, Suspect::State how) {
  suspect.state = how;
  if (how == Suspect::State::accepted) {
    for (std::size_t i = 0; i < kStreams; ++i) {
      rhythms_[i].shift_level(suspect.effect_db[i]);
      hours_.accept(i, suspect.effect_db[i]);
    }
    return;
  }
  if (suspect.shape == Shape::drift &&
      (of_path(suspect.what.cause) || of_noise(suspect.what.cause)))
    for (std::size_t i = 0; i < kStreams; ++i)
      if (suspect.effect_db[i] != 0) hours_.note_return(i, suspect.effect_db[i]);
  take_back(suspect);
  // Those that began later have it in what was before them.
  for (Suspect& other : suspects_)
    if (&other != &suspect && other.onset > suspect.onset)
      for (std::size_t i = 0; i < kStreams; ++i) other.before_db[i] -= suspect.effect_db[i];
}

/// What was told and did not last: the hours in which it was not there are given back what was
/// taken from them.
void ChangeWatch::take_back(const Suspect& suspect) {
  const std::size_t lived = hours_.since(suspect.onset);
  for (std::size_t i = 0; i < kStreams; ++i) {
    if (std::abs(suspect.effect_db[i]) < 0.05) continue;
    for (std::size_t back = 0; back < lived; ++back) {
      HourBook::Hour& hour = hours_.back(back);
      const double off_db = hour.value_cdb[i] / 100.0 - rhythms_[i].level();
      if (std::abs(off_db + suspect.effect_db[i]) < std::abs(off_db))
        hour.move(i, suspect.effect_db[i]);
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
  HourBook::Hour hour;
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
  hour.end = now;
  hours_.push(hour);
  ++hours_seen_;
  if (!judged) return;
  teach_rhythms();
  hours_.learn();
  look_for_drifts(now);
  look_for_swings(now);
}

/// Three days late, less while young: what grows within days is seen before it is learned.
void ChangeWatch::teach_rhythms() {
  const std::uint32_t late = std::min<std::uint32_t>(72, hours_seen_ / 3);
  while (hours_taught_ + late < hours_seen_) {
    const std::size_t back = hours_seen_ - 1 - hours_taught_;
    ++hours_taught_;
    if (back >= hours_.size()) continue;
    const HourBook::Hour& hour = hours_.back(back);
    for (std::size_t i = 0; i < kStreams; ++i)
      if (hour.has(i)) rhythms_[i].learn(hour.end, hour.raw_cdb[i] / 100.0);
  }
}

bool ChangeWatch::told_since(Time since) const {
  return std::ranges::any_of(suspects_, [&](const Suspect& s) {
    return s.told() && s.shape == Shape::step && s.onset > since;
  });
}

Changes ChangeWatch::heard() const {
  Changes out;
  out.one_way = !both_;
  out.way = way_;
  return out;
}

void ChangeWatch::look_for_drifts(Time now) {
  const auto found = find_drift(hours_, heard(), told_since(now - std::chrono::hours{26}));
  if (!found) return;
  for (Suspect& s : suspects_) {
    if (!s.told() || s.what.cause != found->what.cause || s.shape == Shape::cycle) continue;
    // More of what was told already.
    const Vector more = effect_of(found->what, found->changes);
    for (std::size_t i = 0; i < kStreams; ++i) s.effect_db[i] += more[i];
    take_out(std::min(found->span_hours / 2, hours_.size()), more);
    s.what.size_db += found->what.size_db;
    s.grown_at = now;
    return;
  }
  Suspect suspect;
  suspect.what = found->what;
  suspect.shape = Shape::drift;
  suspect.onset = hours_.back(found->span_hours).end;
  suspect.confidence = confidence_of(found->what.lead);
  for (std::size_t i = 0; i < kStreams; ++i) {
    suspect.before_db[i] = rhythms_[i].level();
    suspect.before_known[i] = rhythms_[i].hours() > 0;
  }
  tell(suspect, now);
  suspects_.push_back(suspect);
}

void ChangeWatch::look_for_swings(Time now) {
  // A step within these days looks like half a turn.
  const bool disturbed = std::ranges::any_of(suspects_, [&](const Suspect& s) {
    return s.shape == Shape::step && (s.abrupt || s.told()) &&
           now - s.onset < std::chrono::hours{78};
  });
  for (const std::optional<Swing>& swing : swings_.look(hours_, rhythms_, hours_taught_)) {
    if (!swing) continue;
    const auto told = std::ranges::find_if(suspects_, [&](const Suspect& x) {
      return x.told() && x.shape == Shape::cycle && x.what.cause == swing->cause;
    });
    if (told != suspects_.end()) {
      told->gone_blocks =
          swing->amplitude_db < 0.5 * told->what.size_db ? told->gone_blocks + 1 : 0;
      told->what.size_db = std::max(told->what.size_db, swing->amplitude_db);
      if (told->gone_blocks >= 12) told->state = Suspect::State::over;
      continue;
    }
    if (disturbed || !swing->grown) continue;
    Suspect suspect;
    suspect.state = Suspect::State::told;
    suspect.what.cause = swing->cause;
    suspect.what.size_db = std::max(swing->amplitude_db, swing->newest_db);
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
    if (now.known[i]) rhythms_[i].shift_level(now.by_db[i]);
  for (Suspect& suspect : suspects_)
    if (suspect.told()) suspect.state = Suspect::State::accepted;
  std::erase_if(suspects_, [](const Suspect& s) { return s.state == Suspect::State::pending; });
  hours_.rebase(now);
}

}  // namespace fadeward::judge
