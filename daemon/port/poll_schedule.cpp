#include "fadeward/port/poll_schedule.hpp"

#include <algorithm>

namespace fadeward::port {

namespace {
constexpr Duration kShortestInterval = 10ms;  // whatever the settings say: never a busy loop
}

PollSchedule::PollSchedule(const PollSettings& settings)
    : every_(std::max(settings.every, kShortestInterval)),
      quiet_before_(std::max(settings.quiet_before, Duration::zero())) {}

void PollSchedule::restart(Duration now) {
  due_ = now;
  heard_ = now;
}

Duration PollSchedule::wait(Duration now) const {
  const Duration moment = std::max(due_, heard_ + quiet_before_);
  return std::max(moment - now, Duration::zero());
}

}  // namespace fadeward::port
