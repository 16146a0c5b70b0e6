#include "fadeward/link/interval_keeper.hpp"

namespace fadeward::link {

void IntervalKeeper::settle() {
  kept_->frames += fresh_.size();
  kept_->signal.add_all(fresh_, &std::pair<std::int16_t, std::int16_t>::first);
  kept_->noise.add_all(fresh_, &std::pair<std::int16_t, std::int16_t>::second);
  fresh_.clear();
}

std::optional<IntervalKeeper::Interval> IntervalKeeper::take() {
  if (!kept_) return {};
  settle();
  Interval out{kept_->frames, kept_->lost, kept_->signal.median_db(), kept_->noise.median_db()};
  kept_->frames = kept_->lost = 0;
  kept_->signal.clear();
  kept_->noise.clear();
  return out;
}

}  // namespace fadeward::link
