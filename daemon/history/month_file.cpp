#include "month_file.hpp"

#include <sys/stat.h>

#include <algorithm>

namespace fadeward::history {

namespace {

constexpr std::int64_t kApplication = 0x66647764;  // "fdwd"
// Then the log is brought into the file: each page once, however often it was written. Rarely, but
// a small history does not need a large log.
constexpr std::int64_t kFewWalPages = 1000, kMostWalPages = 6000, kWalPerPage = 4;

std::int64_t micros(Time at) { return at.time_since_epoch().count(); }

std::optional<std::int64_t> micros(const std::optional<Time>& at) {
  return at ? std::optional(micros(*at)) : std::nullopt;
}

int number_of(const std::optional<Direction>& direction) {
  return direction ? static_cast<int>(*direction) : -1;
}

}  // namespace

int make_schema(Database& db) {
  return db.run(
      "CREATE TABLE link(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);"
      "CREATE TABLE port(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);"
      "CREATE TABLE recent(id INTEGER PRIMARY KEY, data BLOB NOT NULL);"
      "CREATE TABLE hour(id INTEGER PRIMARY KEY, data BLOB NOT NULL);"
      "CREATE TABLE event(time INTEGER NOT NULL, link INTEGER NOT NULL, port INTEGER NOT NULL,"
      " direction INTEGER NOT NULL, change TEXT NOT NULL, alert TEXT NOT NULL, severity TEXT,"
      " cause TEXT, shape TEXT, onset INTEGER, size_db REAL, confidence REAL, text TEXT,"
      " PRIMARY KEY(time, link, port, direction, alert, change)) WITHOUT ROWID;"
      "CREATE TABLE mark(time INTEGER NOT NULL, kind TEXT NOT NULL, port INTEGER NOT NULL,"
      " text TEXT, PRIMARY KEY(time, kind, port)) WITHOUT ROWID;"
      "CREATE TABLE period(kind TEXT NOT NULL, link INTEGER NOT NULL, direction INTEGER NOT NULL,"
      " begin INTEGER NOT NULL, until INTEGER NOT NULL, margin_db REAL, note TEXT,"
      " PRIMARY KEY(kind, link, direction, begin)) WITHOUT ROWID;"
      "CREATE TABLE meta(name TEXT PRIMARY KEY, value INTEGER) WITHOUT ROWID;"
      "PRAGMA application_id = 1717860196;"  // kApplication
      "PRAGMA user_version = 1;");
}

MonthFile::Trouble MonthFile::settle(int code, const char* during) {
  return code == SQLITE_OK || code == SQLITE_DONE || code == SQLITE_ROW ? Trouble::none
                                                                        : trouble(during);
}

MonthFile::Trouble MonthFile::trouble(const char* during) {
  const int code = db_.code();
  error_ = path_ + ": " + during + ": " + db_.error();
  if (means_damage(code)) return Trouble::damaged;
  if ((code & 0xff) == SQLITE_INTERRUPT) return Trouble::stopped;
  return Trouble::passing;
}

void MonthFile::close() {
  for (Statement* statement :
       {&find_link_, &add_link_, &find_port_, &add_port_, &get_recent_, &put_recent_, &get_hour_,
        &put_hour_, &put_event_, &put_mark_, &put_period_})
    *statement = {};
  db_.close();
}

MonthFile::Trouble MonthFile::open(const std::string& path, const StoreOptions& options,
                                   const Checking& checking) {
  close();
  path_ = path;
  replace_ = options.replace;
  durable_ = options.durable;
  links_.clear();
  ports_.clear();
  if (db_.open(path, Database::Mode::write, options.vfs) != SQLITE_OK) {
    const Trouble found = trouble("cannot open");
    close();
    return found;
  }
  const Trouble found = [&] {
    const auto version = db_.number("PRAGMA user_version");
    if (!version) return trouble("cannot read");
    const auto tables = db_.number("SELECT count(*) FROM sqlite_schema");
    if (!tables) return trouble("cannot read");
    if (*version > kSchemaVersion) {
      error_ = path_ + ": written by a later version (" + std::to_string(*version) + ")";
      return Trouble::foreign;
    }
    // A version without a table: the schema itself is damaged.
    if ((*tables > 0 || *version > 0) &&
        (*version < 1 || *tables == 0 || db_.number("PRAGMA application_id") != kApplication)) {
      error_ = path_ + ": not a history";
      return Trouble::damaged;
    }
    if (checking && *tables > 0) {
      if (!checking(db_.handle())) return Trouble::stopped;
      const auto verdict = db_.text("PRAGMA quick_check(1)");
      checking(nullptr);
      if (!verdict) return trouble("check");
      if (*verdict != "ok") {
        error_ = path_ + ": " + *verdict;
        return Trouble::damaged;
      }
    }
    return prepare();
  }();
  if (found != Trouble::none) close();
  return found;
}

MonthFile::Trouble MonthFile::prepare() {
  // A commit must be on the medium when it returns; pages go into the file when there are many.
  const auto mode = db_.text("PRAGMA journal_mode = WAL");
  if (!mode) return trouble("journal");
  if (db_.run("PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = 0;"
              "PRAGMA journal_size_limit = 1048576; PRAGMA cache_size = -512;"
              // Debian's build would write zeros over every page that is no longer used.
              "PRAGMA secure_delete = OFF;") != SQLITE_OK)
    return trouble("settings");
  if (!durable_ && db_.run("PRAGMA synchronous = OFF") != SQLITE_OK) return trouble("settings");
  const auto tables = db_.number("SELECT count(*) FROM sqlite_schema");
  if (!tables) return trouble("tables");
  if (*tables == 0) {
    const Trouble made = transaction("make tables", [&] { return make_schema(db_) == SQLITE_OK; });
    if (made != Trouble::none) return made;
  }
  sqlite3_wal_hook(
      db_.handle(),
      [](void* self, sqlite3*, const char*, int pages) {
        static_cast<MonthFile*>(self)->wal_pages_ = pages;
        return SQLITE_OK;
      },
      this);
  const std::pair<Statement*, const char*> statements[] = {
      {&find_link_, "SELECT id FROM link WHERE name = ?"},
      {&add_link_, "INSERT INTO link(name) VALUES(?)"},
      {&find_port_, "SELECT id FROM port WHERE name = ?"},
      {&add_port_, "INSERT INTO port(name) VALUES(?)"},
      {&get_recent_, "SELECT data FROM recent WHERE id = ?"},
      {&put_recent_, "INSERT OR REPLACE INTO recent(id, data) VALUES(?, ?)"},
      {&get_hour_, "SELECT data FROM hour WHERE id = ?"},
      {&put_hour_, "INSERT OR REPLACE INTO hour(id, data) VALUES(?, ?)"},
      {&put_event_, "INSERT OR REPLACE INTO event VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"},
      {&put_mark_, "INSERT OR REPLACE INTO mark VALUES(?, ?, ?, ?)"},
      {&put_period_, "INSERT OR REPLACE INTO period VALUES(?, ?, ?, ?, ?, ?, ?)"}};
  for (const auto& [statement, sql] : statements) {
    *statement = db_.prepare(sql);
    if (*statement) continue;
    // The file says that it is ours, but a table or column is not there.
    const Trouble found = trouble("tables");
    return db_.code() == SQLITE_ERROR ? Trouble::damaged : found;
  }
  struct stat file {};
  if (::stat(path_.c_str(), &file) != 0) {
    error_ = path_ + ": vanished";
    return Trouble::passing;
  }
  device_ = file.st_dev;
  inode_ = file.st_ino;
  return Trouble::none;
}

bool MonthFile::in_place() const {
  struct stat file {};
  return ::stat(path_.c_str(), &file) == 0 && file.st_dev == device_ && file.st_ino == inode_;
}

/// `work` is false if something failed.
MonthFile::Trouble MonthFile::transaction(const char* during, const std::function<bool()>& work) {
  if (db_.run("BEGIN IMMEDIATE") != SQLITE_OK) return trouble(during);
  if (work() && db_.run("COMMIT") == SQLITE_OK) return Trouble::none;
  const Trouble found = trouble(during);
  for (Statement* statement :
       {&find_link_, &add_link_, &find_port_, &add_port_, &get_recent_, &put_recent_, &get_hour_,
        &put_hour_, &put_event_, &put_mark_, &put_period_})
    if (*statement) statement->reset();
  if (sqlite3_get_autocommit(db_.handle()) == 0) db_.run("ROLLBACK");
  links_.clear();  // numbers given in it are not
  ports_.clear();
  return found;
}

namespace {

/// Runs a statement that gives no rows.
bool done(Statement& statement) {
  const int code = statement.step();
  statement.reset();
  return code == SQLITE_DONE;
}

}  // namespace

std::optional<std::int64_t> MonthFile::number_of(Statement& find, Statement& add,
                                                 std::map<std::string, std::int64_t>& known,
                                                 const std::string& name) {
  if (name.empty()) return 0;
  if (const auto it = known.find(name); it != known.end()) return it->second;
  find.bind(1, name);
  const int code = find.step();
  std::optional<std::int64_t> id;
  if (code == SQLITE_ROW) id = find.integer(0);
  find.reset();
  if (code == SQLITE_DONE) {
    add.bind(1, name);
    if (!done(add)) return {};
    id = sqlite3_last_insert_rowid(db_.handle());
  }
  if (id) known.emplace(name, *id);
  return id;
}

/// `first`: of this run: it may be part of what an earlier run has written.
Bin MonthFile::joined(const Bin& old, const Bin& bin, bool first) const {
  if (replace_) return bin;
  if (first) return old.frames + old.lost >= bin.frames + bin.lost ? old : bin;
  Bin out = old;
  out.merge(bin);
  return out;
}

bool MonthFile::put_into_hour(std::int64_t id, std::string_view old, const Bin& bin, bool first) {
  const Time start = std::chrono::floor<std::chrono::hours>(bin.start);
  auto hour = decode_hour(old, start);
  if (!hour) {  // rolled up, or spoiled
    ++refused;
    return true;
  }
  auto& place = hour->bins[static_cast<std::size_t>((bin.start - start) / kBinSpan)];
  // Of one that takes the place of another they are in the sum already, as they were then.
  if (!place || (!replace_ && !first)) {
    Summary channels;
    channels.channels = std::move(hour->channels);
    for (const ChannelPart& part : bin.channels)
      channels.add_channel(
          {part.channel, part.frames, double{part.signal_sum_dbm}, double{part.noise_sum_dbm}});
    hour->channels = std::move(channels.channels);
  }
  place = place ? joined(*place, bin, first) : bin;
  std::string bytes;
  encode_hour(bytes, *hour);
  put_hour_.bind(1, id);
  put_hour_.bind_blob(2, bytes);
  return done(put_hour_);
}

bool MonthFile::put_bin(const BinRecord& record) {
  const auto link = number_of(find_link_, add_link_, links_, record.link);
  if (!link) return false;
  const auto bit = static_cast<std::uint8_t>(1U << static_cast<unsigned>(record.direction));
  std::uint8_t& met = (*met_)[record.link];
  const bool first = record.again || (met & bit) == 0;
  if (!record.again) met |= bit;
  const std::int64_t series = series_of(*link, record.direction);
  const Time start = record.bin.start;

  const std::int64_t packed =
      hour_id(quarter_of(start) / kQuartersPerDay, series, quarter_of(start) % kQuartersPerDay / 4);
  get_hour_.bind(1, packed);
  int code = get_hour_.step();
  const std::string hour(code == SQLITE_ROW ? get_hour_.bytes(0) : std::string_view{});
  get_hour_.reset();
  if (code == SQLITE_ROW) return put_into_hour(packed, hour, record.bin, first);
  if (code != SQLITE_DONE) return false;

  const std::int64_t id = recent_id(quarter_of(start), series);
  get_recent_.bind(1, id);
  code = get_recent_.step();
  std::optional<Bin> old;
  if (code == SQLITE_ROW) old = decode_bin(get_recent_.bytes(0), start);
  get_recent_.reset();
  if (code != SQLITE_ROW && code != SQLITE_DONE) return false;
  std::string bytes;
  encode_bin(bytes, old ? joined(*old, record.bin, first) : record.bin);
  put_recent_.bind(1, id);
  put_recent_.bind_blob(2, bytes);
  return done(put_recent_);
}

bool MonthFile::put_event(const EventRecord& event) {
  const auto link = number_of(find_link_, add_link_, links_, event.link);
  const auto port = number_of(find_port_, add_port_, ports_, event.port);
  if (!link || !port) return false;
  put_event_.bind(1, micros(event.time));
  put_event_.bind(2, *link);
  put_event_.bind(3, *port);
  put_event_.bind(4, std::int64_t{history::number_of(event.direction)});
  put_event_.bind(5, name_of(event.change));
  put_event_.bind(6, name_of(event.alert));
  put_event_.bind(7, name_of(event.severity));
  put_event_.bind(8, name_of(event.cause));
  put_event_.bind(9, name_of(event.shape));
  put_event_.bind(10, micros(event.onset));
  put_event_.bind(11, event.size_db);
  put_event_.bind(12, event.confidence);
  put_event_.bind(13, event.text);
  return done(put_event_);
}

bool MonthFile::put_mark(const MarkRecord& mark) {
  const auto port = number_of(find_port_, add_port_, ports_, mark.port);
  if (!port) return false;
  put_mark_.bind(1, micros(mark.time));
  put_mark_.bind(2, name_of(mark.kind));
  put_mark_.bind(3, *port);
  put_mark_.bind(4, mark.text);
  return done(put_mark_);
}

bool MonthFile::put_period(const PeriodRecord& period) {
  const auto link = number_of(find_link_, add_link_, links_, period.link);
  if (!link) return false;
  put_period_.bind(1, name_of(period.kind));
  put_period_.bind(2, *link);
  put_period_.bind(3, std::int64_t{history::number_of(period.direction)});
  put_period_.bind(4, micros(period.from));
  put_period_.bind(5, micros(period.to));
  put_period_.bind(6, period.margin_db);
  put_period_.bind(7, period.note);
  return done(put_period_);
}

MonthFile::Trouble MonthFile::write(const std::vector<const BinRecord*>& bins,
                                    const std::vector<const EventRecord*>& events,
                                    const std::vector<const MarkRecord*>& marks,
                                    const std::vector<const PeriodRecord*>& periods, Met& met) {
  Met fresh = met;  // what is not committed was not met
  met_ = &fresh;
  const Trouble found = transaction("write", [&] {
    return std::ranges::all_of(bins, [&](const auto* bin) { return put_bin(*bin); }) &&
           std::ranges::all_of(events, [&](const auto* event) { return put_event(*event); }) &&
           std::ranges::all_of(marks, [&](const auto* mark) { return put_mark(*mark); }) &&
           std::ranges::all_of(periods, [&](const auto* period) { return put_period(*period); });
  });
  if (found != Trouble::none) return found;
  met = std::move(fresh);
  if (wal_pages_ > kFewWalPages &&
      wal_pages_ >
          std::min(kMostWalPages, kWalPerPage * db_.number("PRAGMA page_count").value_or(0)))
    sqlite3_wal_checkpoint_v2(db_.handle(), nullptr, SQLITE_CHECKPOINT_PASSIVE, nullptr, nullptr);
  return Trouble::none;
}

/// Rows of `hour` for a day, from those of `recent`.
bool MonthFile::encode_day(std::int64_t day,
                           std::vector<std::pair<std::int64_t, std::string>>& rows) {
  Statement read = db_.prepare("SELECT id, data FROM recent WHERE id >= ? AND id < ?");
  if (!read) return false;
  struct Hour {
    HourOfBins bins;
    Summary channels;
  };
  std::map<std::int64_t, Hour> hours;
  // Six hours at a time: a day of many links is large.
  constexpr std::int64_t kAtOnce = 24;
  for (std::int64_t part = 0; part < kQuartersPerDay / kAtOnce; ++part) {
    const std::int64_t begin = day * kQuartersPerDay + part * kAtOnce;
    read.bind(1, recent_id(begin, 0));
    read.bind(2, recent_id(begin + kAtOnce, 0));
    int code = 0;
    while ((code = read.step()) == SQLITE_ROW) {
      const std::int64_t quarter = read.integer(0) >> 24, series = read.integer(0) & kSeriesMask;
      auto bin = decode_bin(read.bytes(1), time_of_quarter(quarter));
      if (!bin) {
        ++spoiled;
        continue;
      }
      Hour& hour = hours[hour_id(day, series, quarter % kQuartersPerDay / 4)];
      for (const ChannelPart& channel : bin->channels)
        hour.channels.add_channel({channel.channel, channel.frames, double{channel.signal_sum_dbm},
                                   double{channel.noise_sum_dbm}});
      bin->channels.clear();
      hour.bins.bins[static_cast<std::size_t>(quarter % 4)] = std::move(bin);
    }
    read.reset();
    if (code != SQLITE_DONE) return false;
    for (auto& [id, hour] : hours) {
      hour.bins.channels = std::move(hour.channels.channels);
      rows.emplace_back(id, std::string());
      encode_hour(rows.back().second, hour.bins);
    }
    hours.clear();
  }
  std::ranges::sort(rows, {}, &std::pair<std::int64_t, std::string>::first);
  return true;
}

/// Removes what lies before `limit`. Rows that are deleted one by one spoil their pages first, and
/// all of these go into the log; a table that is emptied gives them back untouched. So what stays
/// is taken out and put in again, as long as it is little.
bool MonthFile::drop_recent(std::int64_t limit) {
  constexpr std::size_t kFew = 1024;
  std::vector<std::pair<std::int64_t, std::string>> stays;
  {
    Statement read = db_.prepare("SELECT id, data FROM recent WHERE id >= ?");
    if (!read) return false;
    read.bind(1, limit);
    int code = SQLITE_ROW;
    while (stays.size() <= kFew && (code = read.step()) == SQLITE_ROW)
      stays.emplace_back(read.integer(0), read.bytes(1));
    if (code != SQLITE_DONE && code != SQLITE_ROW) return false;
  }
  if (stays.size() > kFew) {
    Statement remove = db_.prepare("DELETE FROM recent WHERE id < ?");
    if (!remove) return false;
    remove.bind(1, limit);
    return done(remove);
  }
  if (db_.run("DELETE FROM recent") != SQLITE_OK) return false;
  return std::ranges::all_of(stays, [&](const auto& row) {
    put_recent_.bind(1, row.first);
    put_recent_.bind_blob(2, row.second);
    return done(put_recent_);
  });
}

MonthFile::Trouble MonthFile::pack_day(Time now, bool& more) {
  more = false;
  spoiled = 0;
  const auto oldest = db_.number("SELECT min(id) FROM recent");
  if (!oldest)
    return db_.code() == SQLITE_DONE || db_.code() == SQLITE_ROW || db_.code() == SQLITE_OK
               ? Trouble::none
               : trouble("look for a day to pack");
  const std::int64_t day = (*oldest >> 24) / kQuartersPerDay;
  if (time_of_day(day + 1) > now) return Trouble::none;
  std::vector<std::pair<std::int64_t, std::string>> rows;
  db_.run("PRAGMA cache_size = -8192");  // or pages go to the log early, and again
  const Trouble found = transaction("pack a day", [&] {
    if (!encode_day(day, rows)) return false;
    if (!drop_recent(recent_id((day + 1) * kQuartersPerDay, 0))) return false;
    // The pages of what went are used again for what comes.
    return std::ranges::all_of(rows, [&](const auto& row) {
      put_hour_.bind(1, row.first);
      put_hour_.bind_blob(2, row.second);
      return done(put_hour_);
    });
  });
  if (found != Trouble::none) return found;
  more = true;
  db_.run("PRAGMA cache_size = -512");
  sqlite3_db_release_memory(db_.handle());
  return Trouble::none;
}

MonthFile::Trouble MonthFile::forget_before(Time bins, Time records) {
  const std::int64_t day = bins.time_since_epoch() / std::chrono::days{1};
  const std::pair<const char*, std::int64_t> removals[] = {
      {"DELETE FROM hour WHERE id < ?", hour_id(day, 0, 0)},
      {"DELETE FROM recent WHERE id < ?", recent_id(day * kQuartersPerDay, 0)},
      {"DELETE FROM event WHERE time < ?", micros(records)},
      {"DELETE FROM mark WHERE time < ?", micros(records)}};
  return transaction("forget", [&] {
    return std::ranges::all_of(removals, [&](const auto& removal) {
      Statement remove = db_.prepare(removal.first);
      if (!remove) return false;
      remove.bind(1, removal.second);
      return done(remove);
    });
  });
}

MonthFile::Trouble MonthFile::shrink() {
  return db_.run("VACUUM") == SQLITE_OK ? Trouble::none : trouble("shrink");
}

std::optional<bool> MonthFile::has_bins() {
  const auto there =
      db_.number("SELECT EXISTS(SELECT 1 FROM hour) OR EXISTS(SELECT 1 FROM recent)");
  if (!there) return {};
  return *there != 0;
}

void MonthFile::leave_log() {
  sqlite3_db_config(db_.handle(), SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, nullptr);
}

MonthFile::Trouble MonthFile::finish() {
  const auto mode = db_.text("PRAGMA journal_mode = DELETE");
  if (!mode) return trouble("finish");
  if (*mode == "delete") return Trouble::none;
  error_ = path_ + ": in use by a reader";
  return Trouble::passing;
}

}  // namespace fadeward::history
