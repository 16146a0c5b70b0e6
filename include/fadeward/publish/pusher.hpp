// Everything that is pushed: a thread of its own that works from the newest snapshot.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>

#include "fadeward/base/settings.hpp"
#include "fadeward/publish/snapshot_box.hpp"
#include "fadeward/publish/web_client.hpp"

namespace fadeward::publish {

enum class PushTone : std::uint8_t { info, warning };

/// What the pusher needs from the program; called on its thread.
struct PushOutside {
  std::function<Instant()> now;            ///< the program's clock
  std::function<Duration(Duration)> real;  ///< how long to wait on the machine for such a span
  std::function<void(PushTone, const std::string&)> log;
  std::string history_dir;  ///< empty: no backlog, no cursor
};

/// Alerts to every Alertmanager, samples to a remote-write receiver; each target on its own. Not on
/// the thread of HTTP, since the backlog is read from the history. Its counts stand in the
/// ProgramState of the box, with zeros from configure() on. A trouble is logged when it begins and
/// when it is over, not in between.
class Pusher {
 public:
  /// `box` outlives the pusher.
  Pusher(SnapshotBox& box, PushOutside outside, WebLimits limits = {});
  ~Pusher();  ///< stops
  Pusher(const Pusher&) = delete;
  Pusher& operator=(const Pusher&) = delete;

  /// From any thread, before or after start(). Targets that did not change go on undisturbed.
  void configure(PushSettings settings, std::map<std::string, std::string> external_labels);
  /// Begins the thread, all signals blocked in it.
  void start();
  /// Ends what is under way; tells a remote-write receiver that its series end, for which it has
  /// `at_most` of real time; joins the thread. Safe to call again, and before start().
  void stop(Duration at_most = std::chrono::seconds(2));

 private:
  class Core;
  std::unique_ptr<Core> core_;
};

}  // namespace fadeward::publish
