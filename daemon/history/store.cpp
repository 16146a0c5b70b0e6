#include "fadeward/history/store.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <iterator>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <utility>

#include "fadeward/base/text.hpp"
#include "month_file.hpp"
#include "roll_up.hpp"

namespace fadeward::history {

using Trouble = MonthFile::Trouble;

namespace {

constexpr const char* kBeside[] = {"-wal", "-shm", "-journal"};  // of a file of SQLite's
constexpr int kMostAside = 1000;
std::string aside_name(const std::string& path, int number) {
  return path + ".damaged-" + std::to_string(number);
}

constexpr std::size_t kMostOpen = 2;  ///< the month and, at its turn, the one before

bool is_there(const std::string& path) {
  struct stat file {};
  return ::stat(path.c_str(), &file) == 0;
}

std::uintmax_t size_of(const std::string& path) {
  struct stat file {};
  return ::stat(path.c_str(), &file) == 0 ? static_cast<std::uintmax_t>(file.st_size) : 0;
}

/// A file that was finished says so in its header: byte 18 is 1 (file format 1.3, "write version":
/// 1 with a rollback journal, 2 with a write-ahead log).
bool is_finished(const std::string& path) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0) return false;
  unsigned char byte = 0;
  const bool read = ::pread(file, &byte, 1, 18) == 1;
  ::close(file);
  return read && byte == 1;
}

}  // namespace

struct Store::State {
  std::string dir;
  StoreOptions options;
  std::map<Month, std::unique_ptr<MonthFile>> open;
  Met met;
  RollUp roll_up;
  std::set<Month> rolled;   ///< known to hold hours
  std::set<Month> put_off;  ///< could not be rolled up on `put_off_on`; tried again the day after
  std::chrono::sys_days put_off_on{};
  std::set<Month> checked;  ///< in this run
  Time forgotten_at{};
  std::set<Month> stripped;  ///< known to hold no bins
  bool too_large = false;    ///< told
  std::atomic<std::uint64_t> refused = 0;
  std::atomic<std::uint64_t> set_aside = 0;
  std::mutex interrupt_mutex;  ///< guards the two below
  sqlite3* busy = nullptr;     ///< under a check
  bool stopping = false;

  std::string path_of(Month month) const { return dir + "/" + file_name(month); }
  void remark(const std::string& text) const {
    if (options.remark) options.remark(text);
  }

  Result<MonthFile*> file_of(Month month);
  Trouble open_once(MonthFile& file, Month month);
  bool put_aside(Month month, const std::string& why);
  Status write_month(Month month, Batch& batch);
  bool believable(Time at) const { return at >= options.earliest && at < options.latest; }
  Status finish(Month month);
  bool leapt(Time now) const;
  Result<bool> pack(Time now);
  Result<bool> forget(Time now);
  Status remove(Month month);
  Status strip(Month month);
  std::uintmax_t size_of_month(Month month) const;
  Result<bool> fit(Time now);
  Result<bool> roll(Time now);
};

void Batch::append(Batch& from) {
  const auto take = [](auto& to, auto& records) {
    if (to.empty())
      to.swap(records);
    else
      to.insert(to.end(), std::make_move_iterator(records.begin()),
                std::make_move_iterator(records.end()));
    records.clear();
  };
  at = empty() ? from.at : std::max(at, from.at);
  take(bins, from.bins);
  take(events, from.events);
  take(marks, from.marks);
  take(periods, from.periods);
  if (from.placed_by) placed_by = std::exchange(from.placed_by, {});
}

Store::Store(std::unique_ptr<State> state) : state_(std::move(state)) {}
Store::~Store() { static_cast<void>(close()); }

Result<std::unique_ptr<Store>> Store::open(const std::string& dir, StoreOptions options) {
  std::error_code failed;
  std::filesystem::create_directories(dir, failed);
  if (failed) return Error{dir + ": cannot make the directory: " + failed.message()};
  auto state = std::make_unique<State>();
  state->dir = dir;
  state->options = std::move(options);
  for (const Month month : months_in(dir))  // left behind by a crash in a roll-up
    ::unlink(RollUp::working_name(state->path_of(month)).c_str());
  return std::unique_ptr<Store>(new Store(std::move(state)));
}

/// False: it is where it was.
bool Store::State::put_aside(Month month, const std::string& why) {
  const std::string path = path_of(month);
  std::string aside;
  for (int i = 1; i < kMostAside; ++i) {
    aside = aside_name(path, i);
    if (!is_there(aside)) break;
  }
  if (::rename(path.c_str(), aside.c_str()) != 0) return false;
  for (const char* beside : kBeside) ::rename((path + beside).c_str(), (aside + beside).c_str());
  ++set_aside;
  remark("history is damaged (" + printable(why) + "); set aside as " + aside +
         ", a new file is begun");
  return true;
}

Trouble Store::State::open_once(MonthFile& file, Month month) {
  const std::string path = path_of(month);
  // Where a log was left behind, the program ended without closing it.
  const bool check = !checked.contains(month) && size_of(path + "-wal") > 0;
  const auto checking = [this](sqlite3* db) {
    const std::lock_guard guard(interrupt_mutex);
    busy = stopping ? nullptr : db;
    return !stopping;
  };
  Trouble found = check ? file.open(path, options, checking) : file.open(path, options);
  if (found == Trouble::stopped) {
    found = file.open(path, options);
    if (found == Trouble::none) file.leave_log();
  }
  return found;
}

Result<MonthFile*> Store::State::file_of(Month month) {
  if (const auto it = open.find(month); it != open.end()) {
    if (it->second->in_place()) return it->second.get();
    remark(path_of(month) + " was removed under the program; a new one is begun");
    it->second->close();
    open.erase(it);
    // What it left beside belongs to no file any more.
    if (!is_there(path_of(month)))
      for (const char* beside : {"-wal", "-shm"}) ::unlink((path_of(month) + beside).c_str());
  }
  if (roll_up.busy() && roll_up.month() == month) roll_up.abandon();
  while (open.size() >= kMostOpen) {
    open.begin()->second->close();
    open.erase(open.begin());
  }
  auto file = std::make_unique<MonthFile>();
  Trouble found = open_once(*file, month);
  if (found == Trouble::damaged && put_aside(month, file->error())) found = open_once(*file, month);
  if (found != Trouble::none) return Error{file->error().empty() ? "interrupted" : file->error()};
  checked.insert(month);
  return (open[month] = std::move(file)).get();
}

Status Store::State::write_month(Month month, Batch& batch) {
  const auto here = [month](Time at) { return month_of(at) == month; };
  std::vector<const BinRecord*> bins;
  std::vector<const EventRecord*> events;
  std::vector<const MarkRecord*> marks;
  std::vector<const PeriodRecord*> periods;
  for (const BinRecord& bin : batch.bins)
    if (here(bin.bin.start)) bins.push_back(&bin);
  for (const EventRecord& event : batch.events)
    if (here(event.time)) events.push_back(&event);
  for (const MarkRecord& mark : batch.marks)
    if (here(mark.time)) marks.push_back(&mark);
  if (here(batch.at))
    for (const PeriodRecord& period : batch.periods) periods.push_back(&period);

  for (int attempt = 0;; ++attempt) {
    const auto file = file_of(month);
    if (!file) return file.error();
    const std::uint64_t refused_before = (*file)->refused;
    const Trouble found = (*file)->write(bins, events, marks, periods, met);
    if (found == Trouble::none) {
      refused += (*file)->refused - refused_before;
      break;
    }
    (*file)->refused = refused_before;
    const Error failed{(*file)->error()};
    if (found != Trouble::damaged || attempt > 0) return failed;
    (*file)->close();
    open.erase(month);
    if (!put_aside(month, failed.message)) return failed;
  }
  std::erase_if(batch.bins, [&](const BinRecord& bin) { return here(bin.bin.start); });
  std::erase_if(batch.events, [&](const EventRecord& event) { return here(event.time); });
  std::erase_if(batch.marks, [&](const MarkRecord& mark) { return here(mark.time); });
  if (here(batch.at)) batch.periods.clear();
  return success();
}

Status Store::write(Batch& batch) {
  State& s = *state_;
  const auto count = [&s](std::size_t erased) { s.refused += erased; };
  count(std::erase_if(batch.bins,
                      [&](const BinRecord& bin) { return !s.believable(bin.bin.start); }));
  count(std::erase_if(batch.events,
                      [&](const EventRecord& event) { return !s.believable(event.time); }));
  count(
      std::erase_if(batch.marks, [&](const MarkRecord& mark) { return !s.believable(mark.time); }));
  if (!s.believable(batch.at)) {
    count(batch.periods.size());
    batch.periods.clear();
  }
  std::set<Month> months;
  for (const BinRecord& bin : batch.bins) months.insert(month_of(bin.bin.start));
  for (const EventRecord& event : batch.events) months.insert(month_of(event.time));
  for (const MarkRecord& mark : batch.marks) months.insert(month_of(mark.time));
  if (!batch.periods.empty()) months.insert(month_of(batch.at));
  for (const Month month : months)
    if (Status written = s.write_month(month, batch); !written) return written;
  return success();
}

// ---- housekeeping --------------------------------------------------------------------------

Status Store::State::finish(Month month) {
  const auto file = file_of(month);
  if (!file) return file.error();
  const Trouble found = (*file)->finish();
  const Error failed{(*file)->error()};
  (*file)->close();
  open.erase(month);
  if (found != Trouble::none) return failed;
  return success();
}

/// Whether this clock has jumped ahead of the history: then nothing is thrown away. A history that
/// goes on has a file of the month before, or its present month is all there is.
bool Store::State::leapt(Time now) const {
  const Month current = month_of(now);
  std::optional<Month> last;  // before this month
  for (const Month month : months_in(dir))
    if (month < current) last = month;
  return last && last->next() < current;
}

/// Days that are over, oldest first; a month that is over and packed is finished. One that cannot
/// be packed does not keep the others from it.
Result<bool> Store::State::pack(Time now) {
  const Month current = month_of(now);
  std::optional<Error> failed;
  for (const Month month : months_in(dir)) {
    if (month > current || (!open.contains(month) && is_finished(path_of(month)))) continue;
    const auto file = file_of(month);
    if (!file) {
      if (!failed) failed = file.error();
      continue;
    }
    bool more = false;
    const Trouble found = (*file)->pack_day(now, more);
    if (found == Trouble::damaged) {
      const std::string why = (*file)->error();
      (*file)->close();
      open.erase(month);
      if (put_aside(month, why)) return true;
      if (!failed) failed = Error{why};
      continue;
    }
    if (found != Trouble::none) {
      if (!failed) failed = Error{(*file)->error()};
      continue;
    }
    if ((*file)->spoiled > 0)
      remark(path_of(month) + ": " + std::to_string((*file)->spoiled) +
             " damaged quarter hours were left out when their day was packed");
    if (more) return true;
    if (month == current) continue;
    // A reader may hold it open: then it is finished another time.
    if (finish(month)) return true;
  }
  if (failed) return *failed;
  return false;
}

/// With what lies beside it.
Status Store::State::remove(Month month) {
  const std::string path = path_of(month);
  if (roll_up.busy() && roll_up.month() == month) roll_up.abandon();
  open.erase(month);
  if (::unlink(path.c_str()) != 0 && errno != ENOENT)
    return Error{path + ": cannot be removed: " + std::strerror(errno)};
  for (const char* beside : kBeside) ::unlink((path + beside).c_str());
  for (int i = 1; i < kMostAside && is_there(aside_name(path, i)); ++i) {
    ::unlink(aside_name(path, i).c_str());
    for (const char* beside : kBeside) ::unlink((aside_name(path, i) + beside).c_str());
  }
  return success();
}

/// Of a month that is older than bins are kept: its events stay.
Status Store::State::strip(Month month) {
  const auto file = file_of(month);
  if (!file) return file.error();
  const auto failed = [&] { return Error{(*file)->error()}; };
  const auto bins = (*file)->has_bins();
  if (!bins) return failed();
  if (*bins && ((*file)->forget_before(month.end(), Time{}) != Trouble::none ||
                (*file)->shrink() != Trouble::none))
    return failed();
  stripped.insert(month);
  static_cast<void>(finish(month));  // a reader may hold it open: then another time
  return success();
}

Result<bool> Store::State::forget(Time now) {
  if (leapt(now)) return false;
  const auto limit_of = [now](Duration keep) {
    return std::chrono::floor<std::chrono::days>(now - keep);
  };
  const Time bins = limit_of(options.keep);
  const Time records = limit_of(std::max(options.keep, options.keep_records));
  for (const Month month : months_in(dir)) {
    if (month.end() <= records) {
      if (const Status removed = remove(month); !removed) return removed.error();
      return true;
    }
    if (month.end() <= bins) {
      if (stripped.contains(month)) continue;
      if (const Status done = strip(month); !done) return done.error();
      return true;
    }
    if (month.begin() >= bins || forgotten_at == bins) break;
    forgotten_at = bins;
    const auto file = file_of(month);
    if (!file) return file.error();
    if ((*file)->forget_before(bins, records) != Trouble::none) return Error{(*file)->error()};
    if (month != month_of(now)) static_cast<void>(finish(month));
    return true;
  }
  return fit(now);
}

std::uintmax_t Store::State::size_of_month(Month month) const {
  const std::string path = path_of(month);
  const auto with_beside = [](const std::string& file) {
    std::uintmax_t bytes = size_of(file);
    for (const char* beside : kBeside) bytes += size_of(file + beside);
    return bytes;
  };
  std::uintmax_t bytes = with_beside(path);
  for (int i = 1; i < kMostAside && is_there(aside_name(path, i)); ++i)
    bytes += with_beside(aside_name(path, i));
  return bytes;
}

/// Brings the size under its limit. The newest month stays, and one whose time has not come.
Result<bool> Store::State::fit(Time now) {
  if (options.max_bytes == 0) return false;
  const std::vector<Month> months = months_in(dir);
  std::uintmax_t bytes = 0;
  for (const Month month : months) bytes += size_of_month(month);
  if (bytes <= options.max_bytes) {
    too_large = false;
    return false;
  }
  const std::string words = "history takes " + std::to_string(bytes / 1'000'000) +
                            " MB, more than the " + std::to_string(options.max_bytes / 1'000'000) +
                            " MB allowed";
  if (months.size() < 2 || months.front() >= month_of(now)) {
    if (!too_large) remark(words + ", in its newest month alone: nothing is removed");
    too_large = true;
    return false;
  }
  if (const Status removed = remove(months.front()); !removed) return removed.error();
  remark(words + ": " + file_name(months.front()) + " is removed");
  return true;
}

Result<bool> Store::State::roll(Time now) {
  if (roll_up.busy()) {
    const Month month = roll_up.month();
    const auto more = roll_up.step();
    if (!more) {
      put_off.insert(month);
      return more.error();
    }
    if (!*more) rolled.insert(month);
    return true;
  }
  if (leapt(now)) return false;
  if (const auto day = std::chrono::floor<std::chrono::days>(now); day != put_off_on) {
    put_off.clear();
    put_off_on = day;
  }
  for (const Month month : months_in(dir)) {
    if (month.end() > now - options.keep_quarters) break;
    if (rolled.contains(month) || put_off.contains(month)) continue;
    const auto done = RollUp::is_done(path_of(month));
    if (!done || *done || !is_finished(path_of(month))) {
      (done && *done ? rolled : put_off).insert(month);
      if (!done) return done.error();
      return true;
    }
    open.erase(month);
    const Status begun = roll_up.begin(path_of(month), month, options.vfs);
    if (!begun) {
      put_off.insert(month);
      return begun.error();
    }
    return true;
  }
  return false;
}

Result<bool> Store::tidy(Time now) {
  State& s = *state_;
  if (!s.believable(now)) return false;
  // On a full disk packing fails, and only forgetting can help.
  std::optional<Error> failed;
  for (const auto step : {&State::pack, &State::forget, &State::roll}) {
    const auto more = (s.*step)(now);
    if (more && *more) return true;
    if (!more && !failed) failed = more.error();
  }
  if (failed) return *failed;
  return false;
}

Status Store::close() {
  State& s = *state_;
  s.roll_up.abandon();
  for (auto& [month, file] : s.open) file->close();
  s.open.clear();
  return success();
}

void Store::interrupt() {
  State& s = *state_;
  const std::lock_guard guard(s.interrupt_mutex);
  s.stopping = true;
  if (s.busy != nullptr) sqlite3_interrupt(s.busy);
}

std::uint64_t Store::refused() const { return state_->refused; }
std::uint64_t Store::set_aside() const { return state_->set_aside; }

}  // namespace fadeward::history
