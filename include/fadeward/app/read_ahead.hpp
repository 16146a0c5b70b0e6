// Reads recordings on a thread of its own, a few hundred reports ahead of whoever judges them.
#pragma once

#include <algorithm>
#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <thread>
#include <vector>

#include "fadeward/base/report.hpp"

namespace fadeward::app {

/// Hands reports from a source to one consumer, in the order of the source. Memory is bounded: the
/// source waits while kBatches are full. Who waits looks for a moment before it sleeps, where there
/// is more than one processor. All members are for the consumer's thread.
class ReadAhead {
 public:
  /// Called on the reading thread only. Returns the next report, valid until the next call, or null
  /// at the end; after that it is not called again.
  using Source = std::function<const LinkReport*()>;
  static constexpr std::size_t kBatch = 256;
  static constexpr std::size_t kBatches = 8;

  explicit ReadAhead(Source source);
  /// Stops the source after the report at hand, if it is not at its end.
  ~ReadAhead();
  ReadAhead(const ReadAhead&) = delete;
  ReadAhead& operator=(const ReadAhead&) = delete;

  /// The next report, valid until the next call; null at the end. Then the source is done for good:
  /// what it wrote may be read. `link` is empty in it, `index` is what the source set.
  const LinkReport* next() {
    if (at_ >= taken_->count) return next_batch();
    // Written by another core: asked for before it is needed.
    const auto* ahead =
        reinterpret_cast<const char*>(taken_->reports.data() + std::min(at_ + 16, kBatch - 1));
    for (std::size_t line = 0; line < 192; line += 64) __builtin_prefetch(ahead + line);
    return &taken_->reports[at_++];
  }
  /// The report `ahead` places behind the one handed out last; null where it is not known yet.
  const LinkReport* ahead(std::size_t ahead) const {
    const std::size_t place = at_ + ahead - 1;
    return place < taken_->count ? &taken_->reports[place] : nullptr;
  }

 private:
  struct Batch {
    std::vector<LinkReport> reports;
    std::size_t count = 0;
    bool last = false;
  };
  using Count = std::atomic<std::uint64_t>;
  static constexpr std::size_t kLine = 64;  // octets that two cores cannot write at once

  const LinkReport* next_batch();
  void run();
  void fill(Batch& batch);

  Source source_;
  // A ring: the source writes where `filled_` points, the consumer reads where `emptied_` does.
  std::array<Batch, kBatches> ring_;
  const Batch none_;
  const Batch* taken_ = &none_;  ///< the consumer's
  std::size_t at_ = 0;
  std::uint64_t batches_taken_ = 0;
  alignas(kLine) Count filled_{0};
  alignas(kLine) Count emptied_{0};
  alignas(kLine) std::atomic<bool> stop_{false};
  std::thread thread_;  ///< last: the rest is there when it starts
};

}  // namespace fadeward::app
