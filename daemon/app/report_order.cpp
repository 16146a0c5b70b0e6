#include "fadeward/app/report_order.hpp"

#include <algorithm>

namespace fadeward::app {

ReportOrder::ReportOrder() : slots_(512) {}

void ReportOrder::grow() {
  std::vector<LinkReport> bigger(slots_.size() * 2);
  for (std::size_t i = 0; i < count_; ++i) bigger[i] = slots_[wrap(first_ + i)];
  slots_.swap(bigger);
  first_ = 0;
}

LinkReport& ReportOrder::slot() {
  if (count_ + 1 >= slots_.size()) grow();
  return slots_[wrap(first_ + count_)];
}

bool ReportOrder::commit() {
  const LinkReport& report = slots_[wrap(first_ + count_)];
  ++arrivals_;
  if (report.time < handed_out_) return false;
  if (count_ > 0 && report.time < slots_[wrap(first_ + count_ - 1)].time) {
    early_.push({report, arrivals_});
    return true;
  }
  newest_ = std::max(newest_, report.time);
  ++count_;
  return true;
}

const LinkReport* ReportOrder::peek() const {
  if (early_.empty() && !finished_) [[likely]] {
    if (count_ == 0) return nullptr;
    const LinkReport& first = slots_[first_];
    return newest_ - first.time > kDisorder || count_ >= kMost ? &first : nullptr;
  }
  const LinkReport* oldest = count_ > 0 ? &slots_[first_] : nullptr;
  // What came late stands behind one of the same time that came before it.
  if (!early_.empty() && (oldest == nullptr || early_.top().report.time < oldest->time))
    oldest = &early_.top().report;
  if (oldest == nullptr) return nullptr;
  const bool may_go =
      finished_ || newest_ - oldest->time > kDisorder || count_ + early_.size() >= kMost;
  return may_go ? oldest : nullptr;
}

void ReportOrder::pop() {
  const bool early =
      !early_.empty() && (count_ == 0 || early_.top().report.time < slots_[first_].time);
  if (early) {
    handed_out_ = std::max(handed_out_, early_.top().report.time);
    early_.pop();
    return;
  }
  handed_out_ = std::max(handed_out_, slots_[first_].time);
  first_ = wrap(first_ + 1);
  --count_;
}

}  // namespace fadeward::app
