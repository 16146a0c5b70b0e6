#include "roll_up.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "fadeward/history/bin_code.hpp"
#include "month_file.hpp"

namespace fadeward::history {

namespace {

bool sync_path(const std::string& path, int flags) {
  const int file = ::open(path.c_str(), flags | O_CLOEXEC);
  if (file < 0) return false;
  const bool done = ::fsync(file) == 0;
  ::close(file);
  return done;
}

std::string dir_of(const std::string& path) {
  const auto slash = path.rfind('/');
  return slash == std::string::npos ? "." : path.substr(0, slash + 1);
}

}  // namespace

Result<bool> RollUp::is_done(const std::string& path) {
  Database db;
  if (db.open(path, Database::Mode::read) != SQLITE_OK) return Error{path + ": " + db.error()};
  const auto version = db.number("PRAGMA user_version");
  if (!version) return Error{path + ": " + db.error()};
  if (*version != kSchemaVersion) return Error{path + ": not a history of this version"};
  const auto tables = db.number("SELECT count(*) FROM sqlite_schema WHERE name = 'meta'");
  if (!tables) return Error{path + ": " + db.error()};
  return db.number("SELECT value FROM meta WHERE name = 'hours'") == 1;
}

Error RollUp::error(const char* during) const {
  return {path_ + ": " + during + ": " + (to_.code() == SQLITE_OK ? from_.error() : to_.error())};
}

void RollUp::abandon() {
  if (!busy()) return;
  from_.close();
  to_.close();
  ::unlink(working_name(path_).c_str());
}

Status RollUp::begin(const std::string& path, Month month, const std::string& vfs) {
  abandon();
  path_ = path;
  month_ = month;
  day_ = month.begin().time_since_epoch() / std::chrono::days{1};
  end_day_ = month.end().time_since_epoch() / std::chrono::days{1};
  const std::string fresh = working_name(path);
  ::unlink(fresh.c_str());
  if (from_.open(path, Database::Mode::read, vfs) != SQLITE_OK)
    return Error{path + ": " + from_.error()};
  if (to_.open(fresh, Database::Mode::write, vfs) != SQLITE_OK) {
    const Error failed{fresh + ": " + to_.error()};
    to_.close();
    return failed;
  }
  // Nothing of it counts before it is complete and in place: no journal.
  bool made = to_.run("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; BEGIN") == SQLITE_OK &&
              make_schema(to_) == SQLITE_OK && to_.run("COMMIT") == SQLITE_OK;
  if (made) {
    Statement attach = to_.prepare("ATTACH ? AS old");
    attach.bind(1, path);
    made = attach && attach.step() == SQLITE_DONE;
  }
  made = made && to_.run(
                     "BEGIN; INSERT INTO main.link SELECT * FROM old.link;"
                     "INSERT INTO main.port SELECT * FROM old.port;"
                     "INSERT INTO main.event SELECT * FROM old.event;"
                     "INSERT INTO main.mark SELECT * FROM old.mark;"
                     "INSERT INTO main.period SELECT * FROM old.period;"
                     "INSERT INTO main.meta VALUES('hours', 1); COMMIT; DETACH old") == SQLITE_OK;
  if (made) return success();
  const Error failed = error("begin the roll-up");
  abandon();
  return failed;
}

/// Rows come by series, then by hour: the channels of a series are complete when the next begins.
bool RollUp::roll_day(std::int64_t day) {
  Statement read = from_.prepare("SELECT id, data FROM hour WHERE id >= ? AND id < ?");
  Statement write = to_.prepare("INSERT OR REPLACE INTO hour(id, data) VALUES(?, ?)");
  if (!read || !write) return false;
  const auto put = [&](std::int64_t id, const Summary& summary) {
    std::string bytes;
    encode_summary(bytes, summary);
    write.bind(1, id);
    write.bind_blob(2, bytes);
    const int code = write.step();
    write.reset();
    return code == SQLITE_DONE;
  };
  PieceReader pieces;
  Summary hour, channels;
  std::int64_t series = -1;
  const auto end_series = [&] {
    const bool ok = series < 0 || channels.channels.empty() ||
                    put(hour_id(day, series, kChannelSlot), channels);
    channels.clear();
    return ok;
  };
  read.bind(1, hour_id(day, 0, 0));
  read.bind(2, hour_id(day + 1, 0, 0));
  int code = 0;
  while ((code = read.step()) == SQLITE_ROW) {
    const std::int64_t id = read.integer(0), slot = id & 31;
    const std::int64_t of = (id & 0xffffffff) >> 5;
    if (of != series && !end_series()) return false;
    series = of;
    hour.clear();
    // A spoiled row is left behind.
    pieces.visit(read.bytes(1), time_of_day(day) + std::chrono::hours{slot},
                 [&](const Summary& part) { hour.merge(part); });
    for (const ChannelTotal& channel : hour.channels) channels.add_channel(channel);
    hour.channels.clear();
    if (!hour.empty() && !put(id, hour)) return false;
  }
  return code == SQLITE_DONE && end_series();
}

Result<bool> RollUp::step() {
  if (!busy()) return false;
  if (day_ < end_day_) {
    const bool ok =
        to_.run("BEGIN") == SQLITE_OK && roll_day(day_) && to_.run("COMMIT") == SQLITE_OK;
    if (!ok) {
      const Error failed = error("roll up");
      abandon();
      return failed;
    }
    ++day_;
    return true;
  }
  const Status replaced = replace();
  if (!replaced) return replaced.error();
  return false;
}

Status RollUp::replace() {
  const std::string fresh = working_name(path_);
  from_.close();
  to_.close();
  const bool done = sync_path(fresh, O_RDONLY) && ::rename(fresh.c_str(), path_.c_str()) == 0;
  const int why = errno;
  if (!done) {
    ::unlink(fresh.c_str());
    return Error{path_ + ": cannot be replaced: " + std::strerror(why)};
  }
  sync_path(dir_of(path_), O_RDONLY | O_DIRECTORY);
  return success();
}

}  // namespace fadeward::history
