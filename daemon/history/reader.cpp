#include "fadeward/history/reader.hpp"

#include <sys/stat.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>
#include <tuple>

#include "fadeward/history/bin_code.hpp"
#include "month_file.hpp"

namespace fadeward::history {

namespace {

/// The enumerator whose contract spelling this is; the first for a word of a later version.
template <class Enum>
Enum enum_of(std::string_view word, int count) {
  for (int i = 0; i < count; ++i)
    if (name_of(static_cast<Enum>(i)) == word) return static_cast<Enum>(i);
  return Enum{};
}

std::optional<Time> time_at(const Statement& row, int column) {
  if (row.is_null(column)) return {};
  return Time{Duration{row.integer(column)}};
}

std::optional<double> number_at(const Statement& row, int column) {
  if (row.is_null(column)) return {};
  return row.number(column);
}

std::optional<Direction> direction_at(const Statement& row, int column) {
  const std::int64_t value = row.integer(column);
  if (value != 0 && value != 1) return {};
  return static_cast<Direction>(value);
}

std::string text_at(const Statement& row, int column) { return std::string(row.bytes(column)); }

}  // namespace

struct Reader::State {
  std::string dir;
  std::vector<std::string> problems;
  std::set<std::string> told;
  PieceReader pieces;
  std::uint64_t spoiled = 0;  ///< rows of the file under way

  void problem(const std::string& text) {
    if (told.insert(text).second) problems.push_back(text);
  }

  std::optional<Database> open(Month month);
  /// Calls `work(db)` for each month that touches [from, to), inside one read transaction each.
  void each(Time from, Time to, const std::function<bool(Database&, Month)>& work);
  bool bins_of(Database& db, Month month, std::string_view link, Direction direction, Time from,
               Time to, const Visitor& visit);
  bool as_it_came(Database& db, std::int64_t series, std::int64_t first, std::int64_t end,
                  Time from, Time to, const Visitor& visit);
};

Reader::Reader(std::unique_ptr<State> state) : state_(std::move(state)) {}
Reader::~Reader() = default;
Reader::Reader(Reader&&) noexcept = default;
Reader& Reader::operator=(Reader&&) noexcept = default;

Result<Reader> Reader::open(const std::string& dir) {
  std::error_code failed;
  if (!std::filesystem::is_directory(dir, failed))
    return Error{dir + ": no such directory" + (failed ? " (" + failed.message() + ")" : "")};
  auto state = std::make_unique<State>();
  state->dir = dir;
  return Reader(std::move(state));
}

const std::vector<std::string>& Reader::problems() const { return state_->problems; }

/// A file without its log can be read where nothing may be written.
std::optional<Database> Reader::State::open(Month month) {
  const std::string path = dir + "/" + file_name(month);
  Database db;
  const auto usable = [&db] {
    // Each page is needed once; a larger store would grow and shrink the heap with every month.
    return db.run("PRAGMA cache_size = -64; BEGIN") == SQLITE_OK &&
           db.number("SELECT count(*) FROM sqlite_schema");
  };
  bool ok = db.open(path, Database::Mode::read) == SQLITE_OK && usable();
  if (!ok) {
    const int code = db.code() & 0xff;
    struct stat log {};
    const bool no_log = ::stat((path + "-wal").c_str(), &log) != 0 || log.st_size == 0;
    if (no_log && (code == SQLITE_CANTOPEN || code == SQLITE_READONLY))
      ok = db.open(path, Database::Mode::immutable) == SQLITE_OK && usable();
  }
  if (!ok) {
    struct stat file {};
    if (::stat(path.c_str(), &file) == 0) problem(path + " cannot be read: " + db.error());
    return {};
  }
  const auto version = db.number("PRAGMA user_version");
  std::error_code failed;
  const auto size = std::filesystem::file_size(path, failed);
  const bool whole = !failed && (size == 0 || size >= 512);  // of a page at least
  if (whole && version == 0 && db.number("SELECT count(*) FROM sqlite_schema") == 0)
    return {};  // just begun
  if (!version || *version < 1 || *version > kSchemaVersion) {
    problem(path + " cannot be read: not a history of this version");
    return {};
  }
  return db;
}

void Reader::State::each(Time from, Time to, const std::function<bool(Database&, Month)>& work) {
  for (const Month month : months_in(dir)) {
    if (month.end() <= from || month.begin() >= to) continue;
    auto db = open(month);
    if (!db) continue;
    spoiled = 0;
    const std::string path = dir + "/" + file_name(month);
    if (!work(*db, month)) problem(path + " cannot be read to its end: " + db->error());
    if (spoiled > 0) problem(path + ": damaged rows left out");
  }
}

/// Rows of `recent` come quarter by quarter, all series of each.
bool Reader::State::as_it_came(Database& db, std::int64_t series, std::int64_t first,
                               std::int64_t end, Time from, Time to, const Visitor& visit) {
  Statement read = db.prepare("SELECT data FROM recent WHERE id = ?");
  if (!read) return false;
  for (std::int64_t quarter = first; quarter < end; ++quarter) {
    const Time start = time_of_quarter(quarter);
    if (start < from || start >= to) continue;
    read.bind(1, recent_id(quarter, series));
    const int code = read.step();
    if (code == SQLITE_ROW && !pieces.visit(read.bytes(0), start, visit)) ++spoiled;
    read.reset();
    if (code != SQLITE_ROW && code != SQLITE_DONE) return false;
  }
  return true;
}

bool Reader::State::bins_of(Database& db, Month month, std::string_view link, Direction direction,
                            Time from, Time to, const Visitor& visit) {
  Statement find = db.prepare("SELECT id FROM link WHERE name = ?");
  if (!find) return false;
  find.bind(1, link);
  const int found = find.step();
  if (found != SQLITE_ROW) return found == SQLITE_DONE;
  const std::int64_t series = series_of(find.integer(0), direction);

  // A day is packed or it is not, but for a clock set back: then it has hours of both kinds.
  std::int64_t open_first = INT64_MAX, open_end = INT64_MIN;
  Statement ends = db.prepare("SELECT min(id), max(id) FROM recent");
  if (!ends || ends.step() != SQLITE_ROW) return false;
  if (!ends.is_null(0)) {
    open_first = ends.integer(0) >> 24;
    open_end = (ends.integer(1) >> 24) + 1;
  }
  Statement read = db.prepare("SELECT id, data FROM hour WHERE id >= ? AND id < ?");
  if (!read) return false;
  const auto day_of = [](Time at) {
    return std::chrono::floor<std::chrono::days>(at).time_since_epoch().count();
  };
  const std::int64_t first = day_of(std::max(from, month.begin()));
  const std::int64_t last = day_of(std::min(to, month.end()) - Duration{1});
  const auto inside = [&](const Summary& part) {
    if (part.start + part.span > from && part.start < to) visit(part);
  };
  const Visitor inside_visitor = inside;
  Summary channels;
  for (std::int64_t day = first; day <= last; ++day) {
    const std::int64_t end = std::min((day + 1) * kQuartersPerDay, open_end);
    std::int64_t next = std::max(day * kQuartersPerDay, open_first);
    const auto come_until = [&](std::int64_t quarter) {
      const std::int64_t begin = next;
      quarter = std::min(quarter, end);
      if (begin >= quarter) return true;
      next = quarter;
      return as_it_came(db, series, begin, quarter, from, to, visit);
    };
    read.bind(1, hour_id(day, series, 0));
    read.bind(2, hour_id(day, series + 1, 0));
    int code = 0;
    while ((code = read.step()) == SQLITE_ROW) {
      const std::int64_t slot = read.integer(0) & 31;
      if (!come_until(day * kQuartersPerDay + 4 * std::min<std::int64_t>(slot, 24))) return false;
      if (slot == kChannelSlot) {
        channels.clear();
        if (!pieces.visit(read.bytes(1), time_of_day(day),
                          [&](const Summary& whole) { channels = whole; }))
          ++spoiled;
        channels.start = time_of_day(day);
        channels.span = std::chrono::hours{24};
        inside(channels);
      } else if (!pieces.visit(read.bytes(1), time_of_day(day) + std::chrono::hours{slot},
                               inside_visitor)) {
        ++spoiled;
      }
    }
    read.reset();
    if (code != SQLITE_DONE) return false;
    if (!come_until(end)) return false;
  }
  return true;
}

void Reader::bins(std::string_view link, Direction direction, Time from, Time to,
                  const Visitor& visit) {
  state_->each(from, to, [&](Database& db, Month month) {
    return state_->bins_of(db, month, link, direction, from, to, visit);
  });
}

namespace {

/// Collects bins into spans; `begin_of` gives the span that a moment belongs to.
class Collector {
 public:
  using Span = std::pair<Time, Time>;
  Collector(std::function<Span(Time)> span_of, const Reader::Visitor& visit)
      : span_of_(std::move(span_of)), visit_(visit) {}

  void add(const Summary& bin) {
    // The channels of a day, at its end: they belong to no span that is shorter.
    if (bin.empty() && (bin.start < from_ || bin.start + bin.span > to_)) return;
    if (bin.start < from_ || bin.start >= to_) {
      finish();
      std::tie(from_, to_) = span_of_(bin.start);
    }
    sum_.merge(bin);
  }
  void finish() {
    if (!sum_.empty()) {
      sum_.start = from_;
      sum_.span = to_ - from_;
      visit_(sum_);
    }
    sum_.clear();
  }

 private:
  std::function<Span(Time)> span_of_;
  const Reader::Visitor& visit_;
  Time from_ = Time::max(), to_ = Time::max();
  Summary sum_;
};

}  // namespace

void Reader::summaries(std::string_view link, Direction direction, Time from, Time to,
                       Duration step, const Visitor& visit) {
  step = std::max(step, kBinSpan);
  Collector collector(
      [step](Time at) {
        const auto since = at.time_since_epoch();
        const Time begin{since - (since % step + step) % step};
        return std::pair{begin, begin + step};
      },
      visit);
  bins(link, direction, from, to, [&](const Summary& bin) { collector.add(bin); });
  collector.finish();
}

void Reader::months(std::string_view link, Direction direction, Time from, Time to,
                    const Visitor& visit) {
  Collector collector(
      [](Time at) {
        const Month month = month_of(at);
        return std::pair{month.begin(), month.end()};
      },
      visit);
  bins(link, direction, from, to, [&](const Summary& bin) { collector.add(bin); });
  collector.finish();
}

std::vector<std::string> Reader::links() {
  std::set<std::string> names;
  state_->each(Time::min(), Time::max(), [&](Database& db, Month) {
    Statement read = db.prepare("SELECT name FROM link");
    if (!read) return false;
    int code = 0;
    while ((code = read.step()) == SQLITE_ROW) names.emplace(read.bytes(0));
    return code == SQLITE_DONE;
  });
  return {names.begin(), names.end()};
}

std::optional<std::pair<Time, Time>> Reader::extent() {
  std::optional<std::pair<Time, Time>> out;
  const auto take = [&](Time from, Time to) {
    if (!out) out.emplace(from, to);
    out->first = std::min(out->first, from);
    out->second = std::max(out->second, to);
  };
  // Only the first and the last month that hold bins matter.
  std::vector<Month> months = months_in(state_->dir);
  const auto look = [&](Month month) {
    bool found = false;
    state_->each(month.begin(), month.end(), [&](Database& db, Month) {
      Statement recent = db.prepare("SELECT min(id), max(id) FROM recent");
      if (!recent || recent.step() != SQLITE_ROW) return false;
      if (!recent.is_null(0)) {
        take(time_of_quarter(recent.integer(0) >> 24),
             time_of_quarter((recent.integer(1) >> 24) + 1));
        found = true;
      }
      // Within a day rows are in order of series: the day tells, its hours are looked at.
      for (const char* end : {"min", "max"}) {
        const auto id = db.number(std::string("SELECT ") + end + "(id) FROM hour");
        if (!id) continue;
        const std::int64_t day = *id >> 32;
        Statement hours = db.prepare(
            "SELECT min(id & 31), max(id & 31) FROM hour WHERE id >= ? AND "
            "id < ? AND id & 31 < 24");
        if (!hours) return false;
        hours.bind(1, hour_id(day, 0, 0));
        hours.bind(2, hour_id(day + 1, 0, 0));
        if (hours.step() != SQLITE_ROW || hours.is_null(0)) continue;
        take(time_of_day(day) + std::chrono::hours{hours.integer(0)},
             time_of_day(day) + std::chrono::hours{hours.integer(1) + 1});
        found = true;
      }
      return true;
    });
    return found;
  };
  for (auto it = months.begin(); it != months.end(); ++it)
    if (look(*it)) break;
  for (auto it = months.rbegin(); it != months.rend(); ++it)
    if (look(*it)) break;
  return out;
}

std::vector<EventRecord> Reader::events(Time from, Time to, std::string_view link) {
  std::vector<EventRecord> out;
  state_->each(from, to, [&](Database& db, Month) {
    Statement read = db.prepare(
        "SELECT event.time, link.name, port.name, direction, change, alert, severity, cause, shape,"
        " onset, size_db, confidence, event.text FROM event"
        " LEFT JOIN link ON link.id = event.link LEFT JOIN port ON port.id = event.port"
        " WHERE event.time >= ? AND event.time < ? AND (? = '' OR link.name = ?)"
        " ORDER BY event.time");
    if (!read) return false;
    read.bind(1, std::int64_t{from.time_since_epoch().count()});
    read.bind(2, std::int64_t{to.time_since_epoch().count()});
    read.bind(3, link);
    read.bind(4, link);
    int code = 0;
    while ((code = read.step()) == SQLITE_ROW) {
      EventRecord event;
      event.time = Time{Duration{read.integer(0)}};
      event.link = text_at(read, 1);
      event.port = text_at(read, 2);
      event.direction = direction_at(read, 3);
      event.change = enum_of<EventChange>(read.bytes(4), 3);
      event.alert = enum_of<AlertName>(read.bytes(5), kAlertNames);
      event.severity = enum_of<Severity>(read.bytes(6), 4);
      event.cause = enum_of<Cause>(read.bytes(7), kCauses);
      event.shape = enum_of<Shape>(read.bytes(8), 5);
      event.onset = time_at(read, 9);
      event.size_db = number_at(read, 10);
      event.confidence = number_at(read, 11);
      event.text = text_at(read, 12);
      out.push_back(std::move(event));
    }
    return code == SQLITE_DONE;
  });
  return out;
}

std::vector<MarkRecord> Reader::marks(Time from, Time to) {
  std::vector<MarkRecord> out;
  state_->each(from, to, [&](Database& db, Month) {
    Statement read = db.prepare(
        "SELECT time, kind, port.name, mark.text FROM mark LEFT JOIN port ON port.id = mark.port"
        " WHERE time >= ? AND time < ? ORDER BY time");
    if (!read) return false;
    read.bind(1, std::int64_t{from.time_since_epoch().count()});
    read.bind(2, std::int64_t{to.time_since_epoch().count()});
    int code = 0;
    while ((code = read.step()) == SQLITE_ROW) {
      const auto kind = enum_of<MarkKind>(read.bytes(1), kMarkKinds);
      if (name_of(kind) != read.bytes(1)) continue;  // of a later version
      out.push_back({Time{Duration{read.integer(0)}}, kind, text_at(read, 2), text_at(read, 3)});
    }
    return code == SQLITE_DONE;
  });
  return out;
}

std::vector<PeriodRecord> Reader::periods(Time from, Time to, std::string_view link) {
  std::map<std::tuple<Time, std::string, PeriodKind, int>, PeriodRecord> found;
  // A period may have been written long after it, or before.
  state_->each(Time::min(), Time::max(), [&](Database& db, Month) {
    Statement read = db.prepare(
        "SELECT kind, link.name, direction, begin, until, margin_db, note FROM period"
        " LEFT JOIN link ON link.id = period.link WHERE (? = '' OR link.name = ?)");
    if (!read) return false;
    read.bind(1, link);
    read.bind(2, link);
    int code = 0;
    while ((code = read.step()) == SQLITE_ROW) {
      PeriodRecord period;
      period.kind = enum_of<PeriodKind>(read.bytes(0), 2);
      period.link = text_at(read, 1);
      period.direction = direction_at(read, 2);
      period.from = Time{Duration{read.integer(3)}};
      period.to = Time{Duration{read.integer(4)}};
      period.margin_db = number_at(read, 5);
      period.note = text_at(read, 6);
      const int direction = period.direction ? static_cast<int>(*period.direction) : -1;
      found[{period.from, period.link, period.kind, direction}] = period;
    }
    return code == SQLITE_DONE;
  });
  std::vector<PeriodRecord> out;
  for (auto& [key, period] : found)
    if (period.to > from && period.from < to) out.push_back(std::move(period));
  return out;
}

}  // namespace fadeward::history
