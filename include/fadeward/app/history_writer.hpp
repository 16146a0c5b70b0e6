// The thread that owns the history on disk.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/history/held_file.hpp"
#include "fadeward/history/store.hpp"

namespace fadeward::app {

/// How long and how much, as configured.
history::StoreOptions store_options(const HistorySettings& settings);

/// Takes batches at once and writes them when the disk lets it. What cannot be written waits, at
/// most kMostBins and kMostRecords of it; then the oldest goes and is counted. Attempts are
/// repeated after 5 s, then twice as long each time up to 5 min.
class HistoryWriter {
 public:
  static constexpr std::size_t kMostBins = 8192;
  static constexpr std::size_t kMostRecords = 8192;
  enum class Tone : std::uint8_t { info, warning, error };
  using Log = std::function<void(Tone, const std::string&)>;  ///< called on the writer's thread

  /// `boot`: of the machine, see HeldFile.
  static Result<std::unique_ptr<HistoryWriter>> open(const std::string& dir,
                                                     history::StoreOptions options, Log log,
                                                     std::string boot = {});
  ~HistoryWriter();  ///< as finish()
  HistoryWriter(const HistoryWriter&) = delete;
  HistoryWriter& operator=(const HistoryWriter&) = delete;

  /// What earlier runs left waiting for a clock; before the first `hold` or `push`. A file that
  /// cannot be read is set aside, and said.
  history::Held take_held();
  /// Returns at once. Keeps what waits for a clock in a file beside the history until a batch that
  /// was `placed_by` it is written. `anew`: in place of what the file holds.
  void hold(history::Batch records, bool anew = false);
  /// Returns at once. `now`: what housekeeping goes by.
  void push(history::Batch batch, Time now);
  /// One last attempt for what waits, then the files are closed. Success: everything is on disk.
  Status finish();

  // Thread-safe.
  std::uint64_t errors() const;   ///< failed attempts
  std::uint64_t dropped() const;  ///< records that were never written

 private:
  HistoryWriter(std::unique_ptr<history::Store> store, history::HeldFile held, Log log);
  void run();
  bool attempt();
  void keep_held();
  void begin_placing();
  void end_placing();
  void told(const Status& done, const char* what);
  void tidy(std::unique_lock<std::mutex>& guard);
  void failed(const std::string& why);
  static std::uint64_t cut(history::Batch& batch);  ///< how many records went

  std::unique_ptr<history::Store> store_;
  history::HeldFile held_;
  const Log log_;
  history::Batch in_hand_;  ///< the thread's own
  history::Batch to_hold_;  ///< the thread's own: not in the file yet
  bool hold_anew_ = false;
  std::optional<Duration> placing_;  ///< in hand is what the file holds, placed by this
  bool placing_noted_ = false;
  bool hold_failed_ = false;
  std::string trouble_;         ///< empty: the last attempt succeeded
  std::uint64_t attempts_ = 0;  ///< failed since
  bool tidying_failed_ = false;

  mutable std::mutex mutex_;  ///< guards what follows
  std::condition_variable changed_;
  history::Batch waiting_;
  history::Batch waiting_to_hold_;
  bool waiting_anew_ = false;
  Time now_{};
  bool tidy_due_ = false;
  bool stop_ = false;
  std::uint64_t errors_ = 0;
  std::uint64_t dropped_ = 0;
  std::thread thread_;
};

}  // namespace fadeward::app
