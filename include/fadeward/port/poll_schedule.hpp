// When a radio that only answers is asked again.
#pragma once

#include "fadeward/base/settings.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::port {

/// A question is due `every` after the one before, and waits until the line has been quiet for
/// `quiet_before`, so that it never falls into an answer. Late questions are not made up for.
/// Times are `Instant::steady`.
class PollSchedule {
 public:
  explicit PollSchedule(const PollSettings& settings);

  /// The port has been opened: the first question is due, once the line has been quiet.
  void restart(Duration now);
  void heard(Duration now) { heard_ = now; }
  /// Asked, or tried to.
  void asked(Duration now) { due_ = now + every_; }

  /// Zero: ask now. Otherwise look again after this long.
  Duration wait(Duration now) const;

 private:
  Duration every_;
  Duration quiet_before_;
  Duration due_{};
  Duration heard_{};
};

}  // namespace fadeward::port
