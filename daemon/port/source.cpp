#include "source.hpp"

#include <algorithm>

#include "fadeward/port/clock.hpp"

namespace fadeward::port {

namespace {

constexpr Duration kFirstWait = 250ms;
constexpr Duration kSettled = 5s;
constexpr Duration kLongestSleep = 1h;  // of the poll timer; far below what its clock can count

std::optional<PollSchedule> schedule_of(const PortSettings& settings) {
  const bool input_only =
      settings.source == SourceKind::file || settings.source == SourceKind::stdin_stream;
  if (!settings.poll || settings.poll->send.empty() || input_only) return std::nullopt;
  return PollSchedule(*settings.poll);
}

}  // namespace

Source::Source(boost::asio::io_context& io, PortIndex index, PortSettings settings, Sink& sink,
               Duration longest_wait)
    : io_(io),
      settings_(std::move(settings)),
      reporter_(sink, index),
      timer_(io),
      poll_timer_(io),
      schedule_(schedule_of(settings_)),
      backoff_(kFirstWait, longest_wait, kSettled) {}

Instant Source::clocks() { return read_clocks(); }

void Source::start() {
  if (stopped_ || open_) return;
  after(Duration::zero(), [this](Instant now) { attempt(now); });
}

void Source::stop() {
  stopped_ = true;
  open_ = false;
  new_generation();
  shut();
}

void Source::new_generation() {
  ++generation_;
  timer_.cancel();
  poll_timer_.cancel();
}

void Source::cancel_delay() {
  ++turn_;
  timer_.cancel();
}

void Source::came_up(std::string_view text, Instant now) {
  if (stopped_) return;
  cancel_delay();
  open_ = true;
  opened_at_ = now.steady;
  ++counts_.opened;
  reporter_.opened(text, now);
  if (!open_) return;
  if (schedule_) schedule_->restart(now.steady);
  arm_poll(now);
  begin_reading();
}

void Source::close_with(std::string_view text, Instant now) {
  open_ = false;
  new_generation();
  shut();
  reporter_.closed(text, now);
}

void Source::went_down(std::string_view text, Instant now) {
  if (!open_) return;
  backoff_.was_open_for(now.steady - opened_at_);
  close_with(text, now);
  try_again();
}

void Source::breaks_off(std::string_view text, Instant now) {
  if (open_) close_with(text, now);
}

void Source::stays_down(std::string_view text, Instant now) {
  if (stopped_) return;
  new_generation();
  shut();
  reporter_.failed(text, now);
  try_again();
}

void Source::gives_up(std::string_view text, Instant now) {
  if (stopped_) return;
  new_generation();
  shut();
  reporter_.failed(text, now);
}

void Source::finish(std::string_view text, Instant now) {
  if (!open_) return;
  open_ = false;
  new_generation();
  shut();
  reporter_.ended(text, now);
}

void Source::try_again() {
  if (stopped_) return;
  after(backoff_.next(), [this](Instant later) { attempt(later); });
}

void Source::deliver(std::span<const std::uint8_t> bytes, Instant now) {
  counts_.bytes += bytes.size();
  if (schedule_) schedule_->heard(now.steady);
  reporter_.sink().on_bytes(bytes, now);
}

void Source::deliver_datagram(std::span<const std::uint8_t> bytes, Instant now) {
  counts_.bytes += bytes.size();
  if (schedule_) schedule_->heard(now.steady);
  reporter_.sink().on_datagram(bytes, now);
}

void Source::arm_poll(Instant now) {
  if (!schedule_ || !open_) return;
  poll_timer_.expires_after(std::min(schedule_->wait(now.steady), kLongestSleep));
  poll_timer_.async_wait(live([this](const auto& error) {
    if (!error) ask(clocks());
  }));
}

void Source::ask(Instant now) {
  if (schedule_->wait(now.steady) == Duration::zero()) {
    schedule_->asked(now.steady);
    if (unsent() > 0) discard_unsent();
    const std::string& question = settings_.poll->send;
    const std::span<const std::uint8_t> bytes(
        reinterpret_cast<const std::uint8_t*>(question.data()), question.size());
    const bool sent = unsent() == 0 && write_now(bytes) == bytes.size();
    ++(sent ? counts_.polls_sent : counts_.polls_abandoned);
  }
  arm_poll(now);
}

}  // namespace fadeward::port
