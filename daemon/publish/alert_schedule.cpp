#include "fadeward/publish/alert_schedule.hpp"

namespace fadeward::publish {

PushOutcome AlertSchedule::answered(const WebAnswer& answer, Duration now, Time wall) {
  in_flight_ = false;
  const PushOutcome outcome = outcome_of(answer);
  if (outcome == PushOutcome::accepted || outcome == PushOutcome::poison) {
    told_ = sending_;
    ever_ = true;
    last_ = now;
    backoff_.succeeded();
    // The same again would be refused again. The next turn tells what is true by then.
    if (outcome == PushOutcome::poison) not_before_ = now + kResend;
  } else {
    not_before_ = now + backoff_.failed(retry_after(answer.retry_after, wall));
  }
  return outcome;
}

}  // namespace fadeward::publish
