// The history of a recording: the same store as the daemon's, written on the spot.
#pragma once

#include <memory>
#include <string>

#include "fadeward/app/history_feed.hpp"
#include "fadeward/app/state_file.hpp"
#include "fadeward/history/store.hpp"

namespace fadeward::app {

/// One thread. Times are those of the recording. The first error ends the writing and is kept.
class ReplayHistory {
 public:
  /// An error: a daemon or another replay writes there, or the directory cannot be made.
  static Result<std::unique_ptr<ReplayHistory>> open(const std::string& dir,
                                                     const Settings& settings);

  void note(const judge::Event& event, Time now);
  /// After each minute of the recording.
  void minute(judge::Supervisor& supervisor, Time now);
  /// The open quarter hours as well.
  Status finish(judge::Supervisor& supervisor, Time now);

 private:
  ReplayHistory(const Settings& settings, std::unique_ptr<StateFile> lock,
                std::unique_ptr<history::Store> store);
  void write(Time now);
  static Instant instant(Time now) { return {now, now.time_since_epoch()}; }

  const Settings& settings_;
  std::unique_ptr<StateFile> lock_;  ///< for its lock only
  std::unique_ptr<history::Store> store_;
  HistoryFeed feed_{true};
  history::Batch batch_;
  std::chrono::sys_days looked_{};
  std::string error_;
};

}  // namespace fadeward::app
