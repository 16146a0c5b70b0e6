// What the history should keep, gathered on the thread of the core.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/history/held_file.hpp"
#include "fadeward/history/store.hpp"
#include "fadeward/judge/supervisor.hpp"

namespace fadeward::app {

/// One thread. While the clock is not believed, what happens waits by its span since the boot, and
/// gets the time that the clock shows once it is put right: at most kMostHeld events and marks, of
/// which the oldest are dropped, and kMostHeldBins quarter hours of each direction, of which the
/// newest are. `take_held` gives what began to wait, for a file that outlives a power cut, and
/// `restore` takes back what such a file holds.
class HistoryFeed {
 public:
  static constexpr std::size_t kMostHeld = 1024;
  static constexpr std::size_t kMostHeldBins = 96;
  /// Marks of one port in an hour: one that comes and goes by the second must not fill the disk.
  static constexpr int kMostPortMarks = 12;

  /// `recording`: times are believed as they are.
  explicit HistoryFeed(bool recording = false) : recording_(recording) {}

  /// What an earlier run left waiting; before anything else. What nobody can date becomes a mark, and
  /// is counted by `dropped`; then true: the file holds what nobody needs, and is to be replaced by
  /// `take_held`.
  bool restore(history::Held held, Instant now);
  /// The periods of these settings; at the start and at each reload.
  void settings(const Settings& settings, Instant now);
  /// Further periods; ones that are written already replace themselves.
  void periods(std::vector<history::PeriodRecord> more) {
    for (history::PeriodRecord& one : more) batch_.periods.push_back(std::move(one));
  }
  void started(const std::string& version, Instant now);
  void stopped(Instant now);
  /// To be told of each event before the supervisor forgets it.
  void note(const judge::Event& event, const Settings& settings, Instant now);
  /// Ports that opened or closed, steps of the clock, baselines that were learned. Beyond
  /// kMostPortMarks a port waits for the next hour, which begins with what it is then.
  void look(const judge::Snapshot& snapshot, Instant now);
  /// Bins that are ready.
  void collect(judge::Supervisor& supervisor, const Settings& settings, Instant now);

  /// What there is by now; empty most of the time, and while the clock is not believed.
  history::Batch take(Instant now);
  /// What began to wait since the last call; times that are no dates are spans since the boot.
  history::Batch take_held();
  std::uint64_t dropped() const { return dropped_; }

 private:
  void mark(history::MarkKind kind, Instant now, std::string port, std::string text);
  bool believed(Instant now) const { return recording_ || believable(now.wall); }
  void put(history::EventRecord event, Instant now);
  void put(history::MarkRecord mark, Instant now);
  void put(history::PeriodRecord period, Instant now);
  void put(history::BinRecord bin, Instant now);
  bool is_first(const history::BinRecord& bin);
  void hold(history::BinRecord bin);
  void limit();

  bool recording_;
  history::Batch batch_;
  history::Batch held_;   ///< waits for a clock
  history::Batch fresh_;  ///< the part of it that take_held has not given yet
  std::optional<Duration> held_offset_;  ///< by which an earlier run has placed what it held
  std::set<std::pair<std::string, Direction>> met_;  ///< directions of which a bin was held
  Duration offset_{};  ///< wall - steady at the last call
  bool offset_known_ = false;
  std::uint64_t dropped_ = 0;
  std::optional<std::uint64_t> clock_steps_;
  struct KnownPort {
    std::string name;
    bool up = false;  ///< by its last mark
    Time hour{};
    int marks = 0;  ///< in that hour
  };
  std::vector<KnownPort> ports_;
  using Baselines = std::array<std::optional<double>, kDirections>;
  std::vector<std::pair<std::string, std::optional<Baselines>>> baselines_;
  std::vector<BaselineSettings> baseline_settings_;
};

}  // namespace fadeward::app
