#include "fadeward/app/history_writer.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

#include "fadeward/base/thread.hpp"

namespace fadeward::app {

namespace {

using Steady = std::chrono::steady_clock;
constexpr auto kFirstRetry = std::chrono::seconds{5};
constexpr auto kLastRetry = std::chrono::minutes{5};
constexpr auto kBetweenTurns = std::chrono::milliseconds{20};

}  // namespace

history::StoreOptions store_options(const HistorySettings& settings) {
  history::StoreOptions options;
  options.keep = settings.keep;
  options.keep_records = settings.keep_events.value_or(settings.keep);
  options.max_bytes = settings.max_bytes;
  if (settings.keep_quarters) options.keep_quarters = *settings.keep_quarters;
  return options;
}

Result<std::unique_ptr<HistoryWriter>> HistoryWriter::open(const std::string& dir,
                                                           history::StoreOptions options, Log log,
                                                           std::string boot) {
  options.remark = [log](const std::string& text) { log(Tone::error, text); };
  auto store = history::Store::open(dir, std::move(options));
  if (!store) return store.error();
  return std::unique_ptr<HistoryWriter>(new HistoryWriter(
      std::move(store).value(), history::HeldFile(dir, std::move(boot)), std::move(log)));
}

HistoryWriter::HistoryWriter(std::unique_ptr<history::Store> store, history::HeldFile held, Log log)
    : store_(std::move(store)), held_(std::move(held)), log_(std::move(log)) {
  thread_ = start_thread("history", [this] { run(); });
}

HistoryWriter::~HistoryWriter() { static_cast<void>(finish()); }

std::uint64_t HistoryWriter::cut(history::Batch& batch) {
  std::uint64_t gone = 0;
  const auto oldest = [&gone](auto& records, std::size_t most) {
    if (records.size() <= most) return;
    const std::size_t over = records.size() - most;
    gone += over;
    records.erase(records.begin(), records.begin() + static_cast<std::ptrdiff_t>(over));
  };
  oldest(batch.bins, kMostBins);
  oldest(batch.events, kMostRecords);
  oldest(batch.marks, kMostRecords);
  oldest(batch.periods, kMostRecords);
  return gone;
}

// ---- what waits for a clock ----------------------------------------------------------------

/// Before the thread has anything to do: the file is not its own yet.
history::Held HistoryWriter::take_held() {
  auto found = held_.load();
  if (!found) {
    log_(Tone::error, "what waited for a clock cannot be read: " + found.error().message +
                          "; set aside as " + held_.set_aside());
    return {};
  }
  if (found->spoiled > 0)
    log_(Tone::error, held_.path() + ": " + std::to_string(found->spoiled) +
                          " bytes are damaged and were left out");
  return std::move(*found);
}

void HistoryWriter::hold(history::Batch records, bool anew) {
  if (records.empty() && !anew) return;
  {
    const std::lock_guard guard(mutex_);
    if (anew) waiting_to_hold_ = {};
    waiting_anew_ = waiting_anew_ || anew;
    waiting_to_hold_.append(records);
  }
  changed_.notify_all();
}

void HistoryWriter::told(const Status& done, const char* what) {
  if (!done) {
    const std::lock_guard guard(mutex_);
    ++errors_;
  }
  if (!done && !hold_failed_)
    log_(Tone::error, std::string(what) + ", judging goes on: " + done.error().message);
  hold_failed_ = !done;
}

/// Tried again with what comes next: it is in memory as well.
void HistoryWriter::keep_held() {
  if (placing_ || (to_hold_.empty() && !hold_anew_)) return;
  const Status done = !hold_anew_        ? held_.append(to_hold_)
                      : to_hold_.empty() ? held_.remove()
                                         : held_.replace(to_hold_);
  told(done, "what waits for a clock cannot be written");
  if (!done) return;
  to_hold_ = {};
  hold_anew_ = false;
}

/// By which difference of the clocks, before it is used: a second attempt after a power cut must
/// place everything where the first one did.
void HistoryWriter::begin_placing() {
  if (!in_hand_.placed_by) return;
  placing_ = std::exchange(in_hand_.placed_by, {});
  placing_noted_ = false;
  to_hold_ = {};  // is in hand
  hold_anew_ = false;
}

void HistoryWriter::end_placing() {
  if (!placing_) return;
  const Status done = held_.remove();
  told(done, "what waited for a clock is written, but its file cannot be removed");
  if (done) placing_.reset();
}

// ---- what is written ------------------------------------------------------------------------

void HistoryWriter::push(history::Batch batch, Time now) {
  {
    const std::lock_guard guard(mutex_);
    if (batch.empty() && now - now_ < std::chrono::hours{1}) return;
    waiting_.append(batch);
    dropped_ += cut(waiting_);
    now_ = now;
    tidy_due_ = true;
  }
  changed_.notify_all();
}

void HistoryWriter::failed(const std::string& why) {
  ++attempts_;
  {
    const std::lock_guard guard(mutex_);
    ++errors_;
  }
  if (trouble_.empty()) log_(Tone::error, "history cannot be written, judging goes on: " + why);
  trouble_ = why;
}

/// Without the lock. True if nothing is left in hand.
bool HistoryWriter::attempt() {
  begin_placing();
  keep_held();
  if (in_hand_.empty()) return true;
  if (placing_ && !placing_noted_) placing_noted_ = held_.append_offset(*placing_).ok();
  if (const Status written = store_->write(in_hand_); !written) {
    failed(written.error().message);
    return false;
  }
  if (!trouble_.empty()) {
    std::string text =
        "history is written again after " + std::to_string(attempts_) + " failed attempts";
    if (const std::uint64_t gone = dropped(); gone > 0)
      text += "; " + std::to_string(gone) + " records were dropped";
    log_(Tone::info, text);
  }
  trouble_.clear();
  attempts_ = 0;
  end_placing();
  return true;
}

/// Turn by turn, as long as nothing else is to do.
void HistoryWriter::tidy(std::unique_lock<std::mutex>& guard) {
  while (!stop_ && waiting_.empty() && tidy_due_) {
    const Time now = now_;
    guard.unlock();
    const auto more = store_->tidy(now);
    if (!more && !tidying_failed_)
      log_(Tone::error, "housekeeping of the history failed: " + more.error().message);
    tidying_failed_ = !more;
    guard.lock();
    if (!more) ++errors_;
    if (!more || !*more) {
      tidy_due_ = false;
      return;
    }
    changed_.wait_for(guard, kBetweenTurns, [this] { return stop_; });
  }
}

void HistoryWriter::run() {
  auto wait = std::chrono::duration_cast<Steady::duration>(kFirstRetry);
  Steady::time_point retry_at{};
  std::unique_lock guard(mutex_);
  for (;;) {
    if (in_hand_.empty())
      changed_.wait(guard, [this] {
        return stop_ || tidy_due_ || !waiting_.empty() || !waiting_to_hold_.empty() ||
               waiting_anew_;
      });
    else
      changed_.wait_until(guard, retry_at, [this] { return stop_; });
    in_hand_.append(waiting_);
    dropped_ += cut(in_hand_);
    if (std::exchange(waiting_anew_, false)) {
      to_hold_ = {};
      hold_anew_ = true;
    }
    to_hold_.append(waiting_to_hold_);
    cut(to_hold_);  // the feed has them too: nothing is dropped by that
    const bool last = stop_;
    guard.unlock();
    const bool done = attempt();
    guard.lock();
    if (last) break;
    if (done) {
      wait = kFirstRetry;
      tidy(guard);
    } else {
      retry_at = Steady::now() + wait;
      wait = std::min<Steady::duration>(2 * wait, kLastRetry);
    }
  }
  guard.unlock();
  static_cast<void>(store_->close());
}

Status HistoryWriter::finish() {
  {
    const std::lock_guard guard(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) {
    store_->interrupt();
    thread_.join();
  }
  if (!in_hand_.empty()) return Error{trouble_};
  return success();
}

std::uint64_t HistoryWriter::errors() const {
  const std::lock_guard guard(mutex_);
  return errors_;
}

std::uint64_t HistoryWriter::dropped() const {
  const std::lock_guard guard(mutex_);
  return dropped_ + store_->refused();
}

}  // namespace fadeward::app
