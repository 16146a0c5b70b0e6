// When one Alertmanager is told, and what of it never reached it.
#pragma once

#include <chrono>
#include <cstdint>

#include "fadeward/publish/push_answer.hpp"
#include "fadeward/publish/push_backoff.hpp"

namespace fadeward::publish {

/// One server of a cluster on its own: the slow one does not hold up the others. Times are of the
/// steady clock. Pure.
class AlertSchedule {
 public:
  static constexpr Duration kResend =
      std::chrono::minutes{1};  ///< while there is something to tell
  static constexpr Duration kIdle =
      std::chrono::minutes{15};  ///< an empty list: is it still there?
  static constexpr Duration kFirstWait =
      std::chrono::seconds{2};  ///< after a failure, then doubled
  static constexpr Duration kLongestWait = std::chrono::minutes{1};

  explicit AlertSchedule(std::uint32_t seed) : backoff_(kFirstWait, kLongestWait, seed) {}

  /// Whether to send now. `version` and `empty` as in AlertRoll. A change is due at once, but for a
  /// server that has just failed.
  bool due(Duration now, std::uint64_t version, bool empty) const {
    if (in_flight_ || now < not_before_) return false;
    return version != told_ || !ever_ || now - last_ >= (empty ? kIdle : kResend);
  }
  /// A request with this version left. False: nothing may be sent until answered().
  void sent(std::uint64_t version) {
    in_flight_ = true;
    sending_ = version;
  }
  /// What came of it. Afterwards the next due() speaks of the newest state, never of an older one.
  PushOutcome answered(const WebAnswer& answer, Duration now, Time wall);

  /// Newest version that this server has accepted, or refused for good.
  std::uint64_t told() const { return told_; }
  bool in_flight() const { return in_flight_; }

 private:
  PushBackoff backoff_;
  std::uint64_t told_ = 0;
  std::uint64_t sending_ = 0;
  Duration last_{};
  Duration not_before_ = Duration::min();
  bool in_flight_ = false;
  bool ever_ = false;
};

}  // namespace fadeward::publish
