// The history on disk: one SQLite file for each calendar month, written by one owner.
//
// A quarter hour arrives as one transaction of all links. A day that is over is packed: one row for
// each link, direction and hour. After a year hours replace quarter hours, after `keep` the month
// goes. A commit that has returned survives a power cut.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/bin.hpp"
#include "fadeward/base/result.hpp"
#include "fadeward/history/month.hpp"
#include "fadeward/history/record.hpp"

namespace fadeward::history {

/// A file of a later version is left alone: neither read nor written.
inline constexpr int kSchemaVersion = 1;

struct BinRecord {
  std::string link;
  Direction direction = Direction::inbound;
  Bin bin;
  bool again = false;  ///< may be written already: of two the fuller one stays
};

/// What is written together.
struct Batch {
  std::vector<BinRecord> bins;
  std::vector<EventRecord> events;
  std::vector<MarkRecord> marks;
  std::vector<PeriodRecord> periods;  ///< kept in the month of `at`
  Time at{};
  /// Wall minus steady, where some of it waited for a clock and was placed by it.
  std::optional<Duration> placed_by = {};

  bool empty() const { return bins.empty() && events.empty() && marks.empty() && periods.empty(); }
  /// Takes all of `from` behind what is here, and leaves that empty. Of both `at` the later one; of
  /// what is empty nothing stays, a time that was wrong least of all.
  void append(Batch& from);
  void append(Batch&& from) { append(from); }
};

struct StoreOptions {
  Duration keep = std::chrono::hours{24} * 365 * 5;       ///< bins
  Duration keep_quarters = std::chrono::hours{24} * 365;  ///< then hours
  Duration keep_records{};  ///< events, marks, periods where that is longer than `keep`
  std::uint64_t max_bytes = 0;  ///< of all files; when it is more the oldest month goes; 0: any
  /// What lies outside is refused: a clock that was never set must not found a month.
  Time earliest = Time{std::chrono::sys_days{std::chrono::year{2020} / 1 / 1}};
  Time latest = Time{std::chrono::sys_days{std::chrono::year{2200} / 1 / 1}};
  /// A bin that is there already: false: both are added up (a clock set back, two parts of one
  /// quarter hour); true: the new one replaces it (a recording played twice).
  bool replace = false;
  bool durable = true;  ///< false: a power cut may spoil the file (a recording can be played again)
  std::string vfs;      ///< SQLite's file layer; empty: the system's
  /// Called for what an operator should know (a damaged file set aside, ...), from within the
  /// functions of the store.
  std::function<void(const std::string&)> remark;
};

/// One thread but for `interrupt` and the counts.
class Store {
 public:
  /// Makes the directory if it is missing. Opens no file yet: however long the history is.
  static Result<std::unique_ptr<Store>> open(const std::string& dir, StoreOptions options);
  ~Store();  ///< closes; see close()
  Store(const Store&) = delete;
  Store& operator=(const Store&) = delete;

  /// Takes out of `batch` what is on disk for good; at success everything. One transaction for each
  /// month concerned. What was refused (see `earliest`) is taken out and counted. A file that was
  /// not closed properly is checked first; a damaged one is set aside and a new one begun.
  ///
  /// The first bin of each link and direction may be one that an earlier run has written already,
  /// less full: the fuller one stays.
  Status write(Batch& batch);

  /// One bounded piece of housekeeping: packs one day, rolls up one day, removes one month.
  /// True: call again soon, there is more. An error: nothing else is to do, and something could not
  /// be done. Under a clock that shows more than a month after the last bins nothing is removed or
  /// rolled up: it may be wrong, and what is removed does not come back.
  Result<bool> tidy(Time now);

  /// Ends files properly, so that the next start need not check them.
  Status close();

  /// Ends a check that takes long, and lets none begin; from any thread. What is written then is
  /// checked by the next run.
  void interrupt();

  std::uint64_t refused() const;  ///< records whose time cannot be true, or too old for their month
  std::uint64_t set_aside() const;  ///< damaged files

 private:
  struct State;
  explicit Store(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace fadeward::history
