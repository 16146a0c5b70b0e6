// The one door into the core: reports and port events in, snapshots and alert events out.
//
// Used alike by the daemon, `replay`, the simulator's checks, the fuzzers and the benchmarks. It
// opens nothing, waits for nothing and reads no clock. One thread owns it.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/bin.hpp"
#include "fadeward/base/port_event.hpp"
#include "fadeward/base/report.hpp"
#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/judge/event.hpp"
#include "fadeward/judge/snapshot.hpp"

namespace fadeward::judge {

struct SupervisorOptions {
  bool keep_intervals = false;  ///< fill Interval for `interval_snapshot` (costs memory)
  bool keep_bins = false;       ///< quarter hours wait for `take_bins`
  std::string boot;  ///< as long as it is the same the steady clock goes on; empty: not known
  bool recording = false;       ///< time is the recording's own: reports are believed as they are
};

class Supervisor {
 public:
  /// `settings` are copied as far as needed. `start`: the first moment of supervision.
  Supervisor(const Settings& settings, Instant start, SupervisorOptions options = {});
  ~Supervisor();
  Supervisor(Supervisor&&) noexcept;
  Supervisor& operator=(Supervisor&&) noexcept;

  /// Finds the link that a report belongs to by its port and the radio's own name for it, sets
  /// `report.index` (kNoLink if there is none) and returns it. Changes no state.
  LinkIndex resolve(LinkReport& report) const;

  /// Takes one report; `now` is the time of its arrival. A report that belongs to no link is
  /// counted. No allocation once the link's buffers have grown to their size.
  void take(const LinkReport& report, Instant now);

  /// A hint that `later` will be taken in about ten reports and `soon`, which was `later` before, in
  /// about five (resolved; null: none): fetches the state of their links into the cache, first what a
  /// report touches and then what that points to. With thousands of links the state lies in main
  /// memory, and waiting for it is most of the cost.
  void prepare(const LinkReport* later, const LinkReport* soon) const;

  /// Takes what a port says about itself.
  void note(const PortEvent& event, Instant now);

  /// Closes minutes, presumes losses, judges thresholds. Call at least once a second of real time
  /// or at each whole minute of a recording; calling more often changes nothing.
  void tick(Instant now);

  /// Events since the last call, oldest first; the view lives until the next non-const call.
  std::span<const Event> events() const;
  void clear_events();

  /// Everything known now. `now` serves to drop what has become too old.
  SnapshotPtr snapshot(Instant now) const;

  /// One direction only, with the interval since the previous call for it (replay).
  DirectionSnapshot interval_snapshot(LinkIndex link, Direction direction, Instant now);

  /// Calls `visit` for each quarter hour that ended since the last call, by link, direction and time,
  /// and forgets it; the bin may be moved from. All of a quarter hour are there after the first tick
  /// in the minute after its end. Up to 96 for each direction wait to be fetched, further ones are
  /// dropped and counted. While the clock is not believed they come with its times, which no year
  /// had; those not fetched yet move when it is put right. The open quarter hour is part of `save`:
  /// one that ended before `restore` comes after it, but for one that was begun without a clock in
  /// another boot of the machine, which nobody can date and which is counted with the dropped ones.
  void take_bins(const std::function<void(LinkIndex, Direction, Bin&)>& visit);
  std::uint64_t bins_dropped() const;
  /// Ends the open quarter hours as they are: the end of a recording.
  void end_bins();

  /// New settings with the state of every link that keeps its name; alerts of links that are gone
  /// end with a cleared event.
  void reconfigure(const Settings& settings, Instant now);

  /// The whole state as bytes (versioned, checksummed), and back. A restored supervisor raises
  /// nothing anew; the time between is unknown, not lost. Damaged or foreign bytes: an error, and
  /// the supervisor is as it was.
  std::string save() const;
  Status restore(std::string_view bytes, Instant now);

  /// True when an alert changed since the last save(): worth keeping soon.
  bool alerts_changed_since_save() const;

  std::size_t link_count() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace fadeward::judge
