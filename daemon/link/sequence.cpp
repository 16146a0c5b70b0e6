#include "fadeward/link/sequence.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

namespace {

constexpr std::uint64_t kRemembered = 64;    // frames whose arrival is remembered
constexpr std::uint32_t kRowOfRepeats = 3;   // so many old numbers in order are a restart

/// The most frames that may be missing before a jump is taken for something else than loss: a
/// sender in trouble repeats each message several times, so well above what time alone explains.
double most_frames(double expected) { return 16 * expected + 100; }

}  // namespace

SequenceStep SequenceTracker::restart_at(std::uint64_t seq) {
  last_ = seq;
  seen_ = 1;
  suspects_ = 0;
  known_ = true;
  return {SequenceStep::Kind::restart, 0, 1};
}

SequenceStep SequenceTracker::behind(std::uint64_t seq, std::uint64_t distance) {
  const std::uint64_t bit = std::uint64_t{1} << distance;
  if ((seen_ & bit) == 0) {
    seen_ |= bit;
    suspects_ = 0;
    return {SequenceStep::Kind::late, 0, 0};
  }
  suspects_ = suspects_ > 0 && seq == suspect_ + 1 ? suspects_ + 1 : 1;
  suspect_ = seq;
  if (distance > 0 && suspects_ >= kRowOfRepeats) return restart_at(seq);
  return {SequenceStep::Kind::repeat, 0, 0};
}

SequenceStep SequenceTracker::ahead(std::uint64_t seq, std::uint64_t distance, double expected,
                                    bool gap_unknown) {
  suspects_ = 0;
  if (!gap_unknown && static_cast<double>(distance) > most_frames(expected)) return restart_at(seq);
  last_ = seq;
  seen_ = distance < kRemembered ? seen_ << distance | 1 : 1;
  if (gap_unknown) return {SequenceStep::Kind::first, 0, 1};
  const auto frames = static_cast<std::uint32_t>(std::min<std::uint64_t>(distance, UINT32_MAX));
  return {SequenceStep::Kind::next, frames - 1, frames};
}

/// Distance forward over a wrap, for a number below the last one; settles an unknown width.
std::optional<std::uint64_t> SequenceTracker::wrapped_distance(std::uint64_t seq, double expected) {
  if (learned_) {
    // One restart near the top looks like a wrap; the next one tells.
    const std::uint64_t width = std::uint64_t{1} << bits_;
    const bool fits = last_ < width && static_cast<double>(seq + width - last_) <= 4 * expected + 64;
    if (!fits) bits_ = 0;
    learned_ = fits;
  }
  if (bits_ != 0) {
    const std::uint64_t width = std::uint64_t{1} << bits_;
    return last_ < width && seq < width ? std::optional(seq + width - last_) : std::nullopt;
  }
  for (const int bits : {8, 12, 16, 24, 32}) {
    const std::uint64_t width = std::uint64_t{1} << bits;
    if (last_ >= width) continue;
    const std::uint64_t distance = seq + width - last_;
    // Only a number near the top wraps, and only as far as the time passed explains.
    if (static_cast<double>(distance) > std::min(static_cast<double>(width) / 8, 4 * expected + 16))
      return std::nullopt;
    bits_ = bits;
    learned_ = true;
    return distance;
  }
  return std::nullopt;
}

SequenceStep SequenceTracker::take(double seq, std::optional<Duration> since,
                                   std::optional<Duration> expect, bool gap_unknown) {
  const auto number = static_cast<std::uint64_t>(std::max(0.0, std::floor(seq)));
  if (!known_) {
    restart_at(number);
    return {SequenceStep::Kind::first, 0, 1};
  }
  const bool timed = since && expect && expect->count() > 0;
  const double expected =
      timed ? std::max(1.0, static_cast<double>(since->count()) / static_cast<double>(expect->count()))
            : 64.0;
  if (number == last_) return behind(number, 0);
  if (number > last_) {
    const std::uint64_t distance = number - last_;
    if (bits_ != 0) {
      const std::uint64_t width = std::uint64_t{1} << bits_;
      const std::uint64_t back = last_ + width - number;   // a late one from before the wrap
      if (number < width && back < kRemembered && back < distance) return behind(number, back);
    }
    return ahead(number, distance, expected, gap_unknown);
  }
  const auto over_wrap = wrapped_distance(number, expected);
  const std::uint64_t back = last_ - number;
  if (back < kRemembered && (!over_wrap || back < *over_wrap)) return behind(number, back);
  if (!over_wrap) {
    if (gap_unknown) {
      restart_at(number);
      return {SequenceStep::Kind::first, 0, 1};
    }
    return restart_at(number);
  }
  // A narrow number may have wrapped more than once during a silence: the count that fits the time.
  std::uint64_t distance = *over_wrap;
  if (timed && bits_ != 0) {
    const double width = std::ldexp(1.0, bits_);
    const double turns = std::floor((expected - static_cast<double>(distance)) / width + 0.5);
    if (turns > 0) distance += static_cast<std::uint64_t>(turns * width);
  }
  return ahead(number, distance, expected, gap_unknown);
}

}  // namespace fadeward::link
