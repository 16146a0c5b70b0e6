// How long to wait before the next attempt to open a source.
#pragma once

#include <algorithm>

#include "fadeward/base/time.hpp"

namespace fadeward::port {

/// Doubles from `first` to `longest`. Begins again only after the source had been open for
/// `settled`: a device that opens and dies at once is a failing device too.
class Backoff {
 public:
  Backoff(Duration first, Duration longest, Duration settled)
      : first_(first), longest_(longest), settled_(settled), next_(first) {}

  Duration next() {
    const Duration wait = next_;
    next_ = std::min(next_ * 2, longest_);
    return wait;
  }

  /// The source was open for this long and is closed now.
  void was_open_for(Duration span) {
    if (span >= settled_) next_ = first_;
  }

 private:
  Duration first_;
  Duration longest_;
  Duration settled_;
  Duration next_;
};

}  // namespace fadeward::port
