#include "fadeward/app/read_ahead.hpp"

#include <chrono>
#include <utility>

namespace fadeward::app {

namespace {

/// Waits until the other thread has moved on. To be woken costs as much as a batch, and a thread
/// that is woken often ends up on the processor of the one that wakes it, beside an idle one: so it
/// looks for longer than a batch takes before it sleeps.
void wait_for_more(const std::atomic<std::uint64_t>& moved, std::uint64_t seen) {
  using namespace std::chrono_literals;
  static const bool others_run = std::thread::hardware_concurrency() > 1;
  if (others_run) {
    const auto until = std::chrono::steady_clock::now() + 300us;
    while (std::chrono::steady_clock::now() < until) {
      if (moved.load(std::memory_order_acquire) != seen) return;
      std::this_thread::yield();
    }
  }
  moved.wait(seen, std::memory_order_acquire);
}

void move_on(std::atomic<std::uint64_t>& count, std::uint64_t steps = 1) {
  count.fetch_add(steps, std::memory_order_release);
  count.notify_one();
}

}  // namespace

ReadAhead::ReadAhead(Source source) : source_(std::move(source)) {
  for (Batch& batch : ring_) batch.reports.resize(kBatch);
  thread_ = std::thread([this] { run(); });
}

ReadAhead::~ReadAhead() {
  stop_.store(true, std::memory_order_relaxed);
  move_on(emptied_, kBatches);
  thread_.join();
}

void ReadAhead::fill(Batch& batch) {
  for (batch.count = 0; batch.count < kBatch; ++batch.count) {
    const LinkReport* report = source_();
    batch.last = report == nullptr;
    if (batch.last) return;
    LinkReport& copy = batch.reports[batch.count];
    copy = *report;
    copy.link = {};  // refers to the reader's text
  }
}

void ReadAhead::run() {
  for (std::uint64_t filled = 0;; ++filled) {
    std::uint64_t emptied = emptied_.load(std::memory_order_acquire);
    while (filled - emptied >= kBatches && !stop_.load(std::memory_order_relaxed)) {
      wait_for_more(emptied_, emptied);
      emptied = emptied_.load(std::memory_order_acquire);
    }
    if (stop_.load(std::memory_order_relaxed)) return;
    Batch& batch = ring_[filled % kBatches];
    fill(batch);
    const bool last = batch.last;
    move_on(filled_);
    if (last) return;
  }
}

const LinkReport* ReadAhead::next_batch() {
  for (;;) {
    if (taken_->last) return nullptr;
    if (taken_ != &none_) move_on(emptied_);
    taken_ = &none_;
    while (filled_.load(std::memory_order_acquire) == batches_taken_)
      wait_for_more(filled_, batches_taken_);
    taken_ = &ring_[batches_taken_++ % kBatches];
    at_ = 0;
    if (taken_->count > 0) return &taken_->reports[at_++];
  }
}

}  // namespace fadeward::app
