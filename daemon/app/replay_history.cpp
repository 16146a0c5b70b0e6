#include "fadeward/app/replay_history.hpp"

#include <spdlog/spdlog.h>

#include <iterator>

#include "fadeward/app/history_writer.hpp"

namespace fadeward::app {

namespace {
constexpr std::size_t kBinsTogether = 2048;  // in one transaction
constexpr int kMostTurns = 100000;
}  // namespace

ReplayHistory::ReplayHistory(const Settings& settings, std::unique_ptr<StateFile> lock,
                             std::unique_ptr<history::Store> store)
    : settings_(settings), lock_(std::move(lock)), store_(std::move(store)) {}

Result<std::unique_ptr<ReplayHistory>> ReplayHistory::open(const std::string& dir,
                                                           const Settings& settings) {
  auto lock = StateFile::open(dir);
  if (!lock) return lock.error();
  history::StoreOptions options = store_options(settings.history);
  options.earliest = Time{};  // a recording may be old
  options.replace = true;
  options.durable = false;
  options.remark = [](const std::string& text) { spdlog::error("{}", text); };
  auto store = history::Store::open(dir, std::move(options));
  if (!store) return store.error();
  return std::unique_ptr<ReplayHistory>(
      new ReplayHistory(settings, std::move(lock).value(), std::move(store).value()));
}

void ReplayHistory::note(const judge::Event& event, Time now) {
  feed_.note(event, settings_, instant(now));
}

void ReplayHistory::minute(judge::Supervisor& supervisor, Time now) {
  feed_.collect(supervisor, settings_, instant(now));
  const auto day = std::chrono::floor<std::chrono::days>(now);
  if (day != looked_) {
    if (looked_ == std::chrono::sys_days{}) feed_.settings(settings_, instant(now));
    looked_ = day;
    feed_.look(*supervisor.snapshot(instant(now)), instant(now));
  }
  history::Batch fresh = feed_.take(instant(now));
  const auto append = [](auto& to, auto& from) {
    to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
  };
  append(batch_.bins, fresh.bins);
  append(batch_.events, fresh.events);
  append(batch_.marks, fresh.marks);
  append(batch_.periods, fresh.periods);
  batch_.at = fresh.at;
  if (batch_.bins.size() >= kBinsTogether) write(now);
}

void ReplayHistory::write(Time now) {
  if (error_.empty()) {
    if (const Status written = store_->write(batch_); !written) error_ = written.error().message;
    for (int turn = 0; turn < kMostTurns && error_.empty(); ++turn) {
      const auto more = store_->tidy(now);
      if (!more) error_ = more.error().message;
      if (!more || !*more) break;
    }
  }
  batch_ = {};
}

Status ReplayHistory::finish(judge::Supervisor& supervisor, Time now) {
  supervisor.end_bins();
  minute(supervisor, now);
  write(now);
  static_cast<void>(store_->close());
  if (!error_.empty()) return Error{error_};
  return success();
}

}  // namespace fadeward::app
