// Frame numbers: what is new, what is a repeat, what was lost, what began again.
#pragma once

#include <cstdint>
#include <optional>

#include "fadeward/base/time.hpp"

namespace fadeward::link {

/// What one frame number says.
struct SequenceStep {
  enum class Kind : std::uint8_t {
    first,      ///< nothing to compare with (at start, or after an unknown time)
    next,       ///< new; `lost` frames are missing before it
    repeat,     ///< this frame was reported before
    late,       ///< fills a gap that was counted as lost: one loss fewer
    restart,    ///< the numbers began again; what was lost meanwhile is unknown
  };
  Kind kind = Kind::first;
  std::uint32_t lost = 0;     ///< with `next` only
  std::uint32_t frames = 1;   ///< distance to the number before, 1 if nothing is missing
};

/// Follows `seq` of one sender. The wrap is configured (`bits`) or learned from the first wrap
/// that fits the time passed; the expected interval settles how often a narrow number wrapped
/// during a silence.
class SequenceTracker {
 public:
  SequenceTracker() = default;
  explicit SequenceTracker(std::optional<int> bits) : bits_(bits.value_or(0)) {}

  /// The short way for the number that follows the last one; false if it is another, and nothing has
  /// changed then.
  bool take_next(double seq) {
    if (!known_ || seq != static_cast<double>(last_ + 1)) return false;
    ++last_;
    seen_ = seen_ << 1 | 1;
    suspects_ = 0;
    return true;
  }
  /// `seq`: a non-negative whole number. `since`: time since the frame before, empty when unknown.
  /// `expect`: usual time between transmissions, empty when unknown.
  /// `gap_unknown`: bytes were lost, the port was closed or the program did not run meanwhile.
  SequenceStep take(double seq, std::optional<Duration> since, std::optional<Duration> expect,
                    bool gap_unknown);
  /// The sender restarted (its uptime says so): the next number is a first one.
  void forget() { known_ = false; }

  int wrap_bits() const { return bits_; }   ///< 0: not known yet

  template <class A>
  void archive(A& a) {
    a(bits_, learned_, known_, last_, seen_, suspect_, suspects_);
  }

 private:
  SequenceStep restart_at(std::uint64_t seq);
  SequenceStep behind(std::uint64_t seq, std::uint64_t distance);
  SequenceStep ahead(std::uint64_t seq, std::uint64_t distance, double expected, bool gap_unknown);
  std::optional<std::uint64_t> wrapped_distance(std::uint64_t seq, double expected);

  int bits_ = 0;
  bool learned_ = false;         ///< bits_ is a conclusion from one wrap, and may be wrong
  bool known_ = false;
  std::uint64_t last_ = 0;
  std::uint64_t seen_ = 0;       ///< bit n: frame last_ - n was received
  std::uint64_t suspect_ = 0;    ///< last number of a row that looks like repeats
  std::uint32_t suspects_ = 0;   ///< length of that row: a restart repeats old numbers in order
};

}  // namespace fadeward::link
