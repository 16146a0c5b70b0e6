// The alerts that Alertmanagers should know: the newest state, not a queue of changes.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/judge/snapshot.hpp"

namespace fadeward::publish {

/// How long an alert that has ended is still told: whoever missed it may have been restarting.
inline constexpr Duration kResolvedFor = std::chrono::minutes(15);

/// Follows the snapshots. A set of labels that was active and is gone (another severity, other
/// external labels, a link taken out of the configuration) counts as ended at that moment, so that
/// a request that brings the new set also ends the old one. After a restart it begins with what the
/// snapshot holds: ends of the last 15 minutes are among it. Pure; one thread.
class AlertRoll {
 public:
  /// `now`: the steady clock. A later snapshot than the last one.
  void look(const judge::Snapshot& snapshot,
            const std::map<std::string, std::string>& external_labels, Duration now);

  /// Grows when an alert begins, ends, or changes its severity or cause. 0: never.
  std::uint64_t version() const { return version_; }
  /// Nothing to tell.
  bool empty() const { return entries_.empty(); }
  std::size_t size() const { return entries_.size(); }

  /// The body of POST /api/v2/alerts: a JSON array of everything, active and ended. Active ones end
  /// kAlertAhead after the snapshot; none ends before it begins. While the clock is not trusted,
  /// active alerts go without times (the server then takes its own) and ended ones wait.
  std::string body() const;

  /// How many alerts changed after this version.
  std::size_t changed_since(std::uint64_t version) const;
  /// Versions of the last change of alerts that the last look() has forgotten.
  const std::vector<std::uint64_t>& forgotten() const { return forgotten_; }

 private:
  struct Entry {
    std::string annotations;
    Cause cause = Cause::none;
    Time since{};
    std::optional<Time> ended;
    Duration ended_steady{};  ///< when its end was noticed
    std::uint64_t changed = 0;
    bool seen = false;
  };
  void take(const judge::AlertState& alert, std::string labels, Duration now);

  std::map<std::string, Entry> entries_;  ///< by labels: alerts of one name stand together
  std::vector<std::uint64_t> forgotten_;
  std::uint64_t version_ = 0;
  Time time_{};
  bool clock_trusted_ = true;
};

}  // namespace fadeward::publish
