// Puts reports of a recording in order of time.
#pragma once

#include <cstdint>
#include <queue>
#include <vector>

#include "fadeward/base/report.hpp"

namespace fadeward::app {

/// Holds reports back until one comes that is a minute younger, so that disorder up to 60 s is put
/// right; equal times keep the order of arrival. Reports are filled in place: `slot()`, then
/// `commit()`. Reports in order cost no copy.
class ReportOrder {
 public:
  static constexpr Duration kDisorder = std::chrono::seconds{60};
  static constexpr std::size_t kMost = 1 << 18;  ///< then the oldest goes early: memory is bounded

  ReportOrder();

  /// A place to read the next report into; valid until `commit`, `pop` or the next call.
  LinkReport& slot();
  /// Takes what stands in the slot; it must be timed and resolved: `link` refers to the reader's
  /// text and is worth nothing later. False: it is older than one that
  /// was handed out already (late), and is dropped.
  bool commit();
  /// No more will come: everything may go.
  void finish() { finished_ = true; }
  /// The oldest report that may go now, or null. Lives until `pop`.
  const LinkReport* peek() const;
  void pop();
  bool full() const { return count_ + early_.size() >= kMost; }

 private:
  struct Early {  // came after a younger one
    LinkReport report;
    std::uint64_t order = 0;
  };
  struct Later {
    bool operator()(const Early& a, const Early& b) const {
      return a.report.time != b.report.time ? a.report.time > b.report.time : a.order > b.order;
    }
  };
  std::size_t wrap(std::size_t index) const { return index & (slots_.size() - 1); }
  void grow();

  std::vector<LinkReport> slots_;  ///< ring in order of time and arrival
  std::size_t first_ = 0;
  std::size_t count_ = 0;
  std::priority_queue<Early, std::vector<Early>, Later> early_;
  std::uint64_t arrivals_ = 0;
  Time newest_ = Time::min();
  Time handed_out_ = Time::min();
  bool finished_ = false;
};

}  // namespace fadeward::app
