// One month's file, open for writing.
#pragma once

#include <sys/types.h>

#include <array>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "database.hpp"
#include "fadeward/history/bin_code.hpp"
#include "fadeward/history/month.hpp"
#include "fadeward/history/record.hpp"
#include "fadeward/history/store.hpp"

namespace fadeward::history {

// ---- keys ----------------------------------------------------------------------------------
// `recent`: as it came, in order of time. `hour`: packed, each day in order of series, so that new
// rows always come last. A series is a link's number in the file and a direction.

inline std::int64_t quarter_of(Time at) { return at.time_since_epoch() / kBinSpan; }
inline Time time_of_quarter(std::int64_t quarter) { return Time{kBinSpan * quarter}; }
inline std::int64_t series_of(std::int64_t link, Direction direction) {
  return link << 1 | static_cast<std::int64_t>(direction);
}
inline std::int64_t recent_id(std::int64_t quarter, std::int64_t series) {
  return quarter << 24 | series;
}
inline std::int64_t hour_id(std::int64_t day, std::int64_t series, std::int64_t slot) {
  return day << 32 | series << 5 | slot;
}
inline constexpr std::int64_t kSeriesMask = (1 << 24) - 1;
inline constexpr std::int64_t kQuartersPerDay = 96;
inline constexpr std::int64_t kChannelSlot = 31;  ///< after the hours: channels of a rolled-up day
inline Time time_of_day(std::int64_t day) { return Time{std::chrono::days{day}}; }

/// Tables of an empty file. SQLITE_OK or an error.
int make_schema(Database& db);

/// Bit per direction of a link: a bin of it was written in this run.
using Met = std::map<std::string, std::uint8_t>;

class MonthFile {
 public:
  MonthFile() = default;
  MonthFile(const MonthFile&) = delete;  // SQLite knows its address
  MonthFile& operator=(const MonthFile&) = delete;

  enum class Trouble : std::uint8_t {
    none,
    passing,  ///< may work later: disk full, no permission, I/O error
    damaged,
    foreign,  ///< of a later version, or something else's: to be left alone
    stopped   ///< interrupted
  };

  /// Opens or makes it. `checking`: where it is set, the whole file is looked at first; it is
  /// called with the connection before that, with null afterwards, and may refuse the check.
  using Checking = std::function<bool(sqlite3*)>;
  Trouble open(const std::string& path, const StoreOptions& options, const Checking& checking = {});
  /// Everything of the batch, in one transaction.
  Trouble write(const std::vector<const BinRecord*>& bins,
                const std::vector<const EventRecord*>& events,
                const std::vector<const MarkRecord*>& marks,
                const std::vector<const PeriodRecord*>& periods, Met& met);
  /// Packs the oldest day that ended by `now`; `more`: there may be another.
  Trouble pack_day(Time now, bool& more);
  /// Removes bins that are older than `bins`, and what else is older than `records`.
  Trouble forget_before(Time bins, Time records);
  /// Gives the room of what was removed back to the file system.
  Trouble shrink();
  /// Whether any bin is left. Empty: it cannot be read.
  std::optional<bool> has_bins();
  /// Brings the file into the state in which it needs nothing beside it.
  Trouble finish();
  void close();
  /// It closes as a crash would leave it: the next run checks it.
  void leave_log();

  /// The file under the path is still this one.
  bool in_place() const;
  bool is_open() const { return db_.is_open(); }
  sqlite3* handle() const { return db_.handle(); }
  const std::string& error() const { return error_; }
  const std::string& path() const { return path_; }
  std::uint64_t refused = 0;  ///< bins of hours that are rolled up already
  std::uint64_t spoiled = 0;  ///< rows of the day packed last that could not be read: they are gone

 private:
  Trouble trouble(const char* during);
  Trouble settle(int code, const char* during);
  Trouble prepare();
  Trouble transaction(const char* during, const std::function<bool()>& work);
  std::optional<std::int64_t> number_of(Statement& find, Statement& add,
                                        std::map<std::string, std::int64_t>& known,
                                        const std::string& name);
  bool put_bin(const BinRecord& record);
  bool put_into_hour(std::int64_t id, std::string_view old, const Bin& bin, bool first);
  bool put_event(const EventRecord& event);
  bool put_mark(const MarkRecord& mark);
  bool put_period(const PeriodRecord& period);
  bool encode_day(std::int64_t day, std::vector<std::pair<std::int64_t, std::string>>& rows);
  bool drop_recent(std::int64_t limit);
  Bin joined(const Bin& old, const Bin& bin, bool first) const;

  Database db_;
  std::string path_;
  std::string error_;
  bool replace_ = false;
  bool durable_ = true;
  int wal_pages_ = 0;  ///< not yet brought into the file
  dev_t device_ = 0;
  ino_t inode_ = 0;
  std::map<std::string, std::int64_t> links_, ports_;
  Statement find_link_, add_link_, find_port_, add_port_, get_recent_, put_recent_, get_hour_,
      put_hour_, put_event_, put_mark_, put_period_;
  Met* met_ = nullptr;  ///< during a write: as it will be then
};

}  // namespace fadeward::history
