#include "fadeward/app/read_ahead.hpp"

#include <utility>

namespace fadeward::app {

ReadAhead::ReadAhead(Source source) : source_(std::move(source)) {
  full_.reserve(kBatches + 1);
  spare_.resize(kBatches);
  for (Batch& batch : spare_) batch.reports.resize(kBatch);
  taken_.reports.resize(kBatch);
  thread_ = std::thread([this] { run(); });
}

ReadAhead::~ReadAhead() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  room_.notify_one();
  thread_.join();
}

/// False at the end of the source.
bool ReadAhead::fill(Batch& batch) {
  for (batch.count = 0; batch.count < kBatch; ++batch.count) {
    const LinkReport* report = source_();
    if (report == nullptr) return false;
    LinkReport& copy = batch.reports[batch.count];
    copy = *report;
    copy.link = {};  // refers to the reader's text
  }
  return true;
}

/// Exchanges a filled batch for an empty one. False when nobody wants more. Once all are full it
/// sleeps until half are empty: waking up costs more than a batch.
bool ReadAhead::hand_over(Batch& batch) {
  std::unique_lock lock(mutex_);
  full_.push_back(std::move(batch));
  if (full_.size() == 1) arrived_.notify_one();
  if (spare_.empty()) room_.wait(lock, [&] { return stop_ || spare_.size() >= kBatches / 2; });
  if (stop_) return false;
  batch = std::move(spare_.back());
  spare_.pop_back();
  return true;
}

void ReadAhead::run() {
  Batch batch;
  batch.reports.resize(kBatch);
  while (fill(batch))
    if (!hand_over(batch)) return;
  {
    const std::lock_guard lock(mutex_);
    full_.push_back(std::move(batch));
    ended_ = true;
  }
  arrived_.notify_one();
}

const LinkReport* ReadAhead::next_batch() {
  std::unique_lock lock(mutex_);
  for (;;) {
    arrived_.wait(lock, [&] { return ended_ || !full_.empty(); });
    if (full_.empty()) return nullptr;
    spare_.push_back(std::exchange(taken_, std::move(full_.front())));
    full_.erase(full_.begin());
    if (spare_.size() == kBatches / 2) room_.notify_one();
    at_ = 0;
    if (taken_.count > 0) return &taken_.reports[at_++];
  }
}

}  // namespace fadeward::app
