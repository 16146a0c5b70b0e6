#include "fadeward/app/proving_run.hpp"

#include <spdlog/spdlog.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <random>

#include "fadeward/budget/report.hpp"
#include "fadeward/port/clock.hpp"

namespace fadeward::app {

namespace {

using namespace std::chrono_literals;

constexpr Duration kOpenPatience = 30s;
constexpr Duration kAskEvery = 1s;
constexpr int kMostQuestions = 5;
constexpr Duration kWaitByHand = 2s;  // at most, when a run is ended by hand
constexpr Duration kTellTerminal = 1s;
constexpr Duration kTellLog = 30s;
constexpr Duration kAimSpan = 10s;

}  // namespace

ProvingRun::ProvingRun(const ProveOptions& options, const PortSettings& port)
    : options_(options),
      line_(io_, port,
            {[this](auto bytes, Instant now) { take(bytes, now); },
             [this](const std::string& what, Instant) { opened(what); },
             [this](const std::string& why, Instant now) { closed(why, now); },
             [this](const std::string& why, Instant) { failed(why); }}),
      prober_({std::random_device{}(), options.octets, options.wait, options.rate_per_s,
               options.criteria.max_latency}),
      signals_(io_, SIGINT, SIGTERM),
      timer_(io_),
      live_(::isatty(STDERR_FILENO) == 1),
      period_(seconds_to_duration(1 / options.rate_per_s)),
      planned_(planned_frames(options)) {}

std::uint64_t ProvingRun::planned_frames(const ProveOptions& options) {
  return static_cast<std::uint64_t>(
      std::max(1.0, std::floor(duration_to_seconds(options.span) * options.rate_per_s + 1e-9)));
}

std::string ProvingRun::run() {
  const Instant now = port::read_clocks();
  began_ = now;
  phase_since_ = now.steady;
  told_ = now.steady;
  line_.start();
  if (margins_) margins_->start();
  wait_for_signal();
  step();
  io_.run();
  line_.stop();
  if (margins_) margins_->stop();
  clear_live();
  return trouble_;
}

prove::Proof ProvingRun::proof() const {
  prove::Proof out;
  out.program = "fadeward " FADEWARD_VERSION;
  out.link = options_.link;
  out.port = options_.port.port;
  out.line = what_;
  out.octets = options_.octets;
  out.rate_per_s = options_.rate_per_s;
  out.planned = planned_;
  const Instant now = port::read_clocks();
  out.from = first_sent_.value_or(began_).wall;
  out.to = now.wall;
  out.interrupted = by_hand_;
  out.criteria = options_.criteria;
  out.tally = prober_.tally(now.steady, true);
  if (margins_) out.margins = margins_->margins();
  out.margins_note = margins_ ? margins_->note(out.margins)
                              : "Margins were not measured: no configuration with a port that "
                                "reports on this link was given (--config, --link).";
  out.verdict = prove::judge(out.tally, out.margins, out.criteria);
  const auto cautions = budget::standing_cautions();
  out.cautions.assign(cautions.begin(), cautions.end());
  return out;
}

// ---- what happens ------------------------------------------------------------------------

void ProvingRun::take(std::span<const std::uint8_t> bytes, Instant now) {
  prober_.feed(bytes, now.steady);
  const bool may_go_on = (phase_ == Phase::knocking && prober_.far_end_heard()) ||
                         (phase_ == Phase::waiting && prober_.all_answered()) ||
                         (phase_ == Phase::asking && prober_.settled());
  if (may_go_on) step();
}

void ProvingRun::opened(const std::string& what) {
  what_ = what;
  trouble_.clear();
  say("open: " + what);
  step();
}

void ProvingRun::closed(const std::string& why, Instant now) {
  prober_.interrupted(now.steady);
  say("closed: " + why);
}

void ProvingRun::failed(const std::string& why) {
  trouble_ = why;
  say("cannot be opened: " + why);
}

void ProvingRun::wait_for_signal() {
  signals_.async_wait([this](const boost::system::error_code& error, int) {
    if (error) return;
    if (by_hand_ || phase_ == Phase::opening || phase_ == Phase::knocking || options_.walk)
      return end(true);
    by_hand_ = true;
    say("ending: waiting for the last answers (once more: at once)");
    enter(Phase::waiting);
    wait_for_signal();
    step();
  });
}

void ProvingRun::end(bool by_hand) {
  by_hand_ = by_hand_ || by_hand;
  io_.stop();
}

// ---- phases ------------------------------------------------------------------------------

void ProvingRun::enter(Phase phase) {
  phase_ = phase;
  phase_since_ = port::read_clocks().steady;
  due_ = phase_since_;
  questions_ = 0;
}

void ProvingRun::step() {
  const Instant now = port::read_clocks();
  Duration next = kTellTerminal;
  switch (phase_) {
    case Phase::opening: next = step_opening(now); break;
    case Phase::knocking: next = step_knocking(now); break;
    case Phase::probing: next = step_probing(now); break;
    case Phase::waiting: next = step_waiting(now); break;
    case Phase::asking: next = step_asking(now); break;
  }
  if (io_.stopped()) return;
  if (margins_) margins_->tick();
  tell(now);
  timer_.expires_after(std::clamp<Duration>(next, 0us, 500ms));
  timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) step();
  });
}

Duration ProvingRun::step_opening(Instant now) {
  if (line_.open()) {
    enter(Phase::knocking);
    return 0us;
  }
  if (now.steady - phase_since_ >= kOpenPatience) {
    if (trouble_.empty()) trouble_ = "it does not open";
    end(false);
  }
  return kAskEvery;
}

/// A question a second, until somebody answers.
Duration ProvingRun::step_knocking(Instant now) {
  if (prober_.far_end_heard() || (options_.walk && now.steady - phase_since_ >= 2 * kAskEvery)) {
    enter(Phase::probing);
    first_sent_ = now;
    if (margins_) margins_->begin_anew();
    return 0us;
  }
  if (now.steady - phase_since_ >= options_.knock) {
    say("no far end answered within " + format_span(options_.knock));
    end(false);
    return kAskEvery;
  }
  ask(now);
  return due_ - now.steady;
}

void ProvingRun::ask(Instant now) {
  if (now.steady < due_) return;
  due_ = now.steady + kAskEvery;
  if (line_.open() && line_.idle() && line_.send(prober_.question())) ++questions_;
}

Duration ProvingRun::step_probing(Instant now) {
  const bool over =
      prober_.sent() >= planned_ || now.steady - phase_since_ >= options_.span + period_;
  if (over) {
    enter(Phase::waiting);
    return 0us;
  }
  if (now.steady >= due_) {
    if (!line_.open()) return 20ms;
    if (!line_.idle()) return 2ms;
    line_.send(prober_.probe(now.steady));
    last_sent_ = now.steady;
    due_ = std::max(due_ + period_, now.steady - period_);  // no burst after a pause
  }
  return due_ - now.steady;
}

Duration ProvingRun::step_waiting(Instant now) {
  const Duration wait = by_hand_ ? std::min(options_.wait, kWaitByHand) : options_.wait;
  if (prober_.all_answered() || now.steady - last_sent_ >= wait) {
    enter(Phase::asking);
    return 0us;
  }
  return last_sent_ + wait - now.steady;
}

/// What the far end has counted in the end.
Duration ProvingRun::step_asking(Instant now) {
  if (prober_.settled() || (questions_ >= kMostQuestions && now.steady >= due_) ||
      now.steady - phase_since_ >= 2 * kMostQuestions * kAskEvery) {
    end(false);
    return kAskEvery;
  }
  ask(now);
  return due_ - now.steady;
}

// ---- what is told ------------------------------------------------------------------------

void ProvingRun::clear_live() {
  if (!live_shown_) return;
  std::fputs("\r\033[K", stderr);
  live_shown_ = false;
}

void ProvingRun::say(const std::string& text) {
  clear_live();
  spdlog::info("prove: {}", text);
}

void ProvingRun::tell(Instant now) {
  if (phase_ != Phase::probing) return;
  const Duration every = live_ || options_.walk ? kTellTerminal : kTellLog;
  if (now.steady - told_ < every) return;
  told_ = now.steady;
  if (options_.walk)
    tell_aim(now);
  else
    tell_progress(now);
}

void ProvingRun::tell_progress(Instant now) {
  const std::uint64_t left = planned_ - std::min<std::uint64_t>(prober_.sent(), planned_);
  const double left_s = static_cast<double>(left) / options_.rate_per_s;
  const std::string line = prove::progress_line(prober_.tally(now.steady, false), planned_,
                                                prober_.recent_latency_s(), left_s);
  if (!live_) return say(line);
  std::fprintf(stderr, "\r%s\033[K", line.c_str());
  live_shown_ = true;
}

void ProvingRun::tell_aim(Instant now) {
  prove::Aim aim;
  aim.latency_s = prober_.recent_latency_s();
  const Duration grace = std::max<Duration>(1s, seconds_to_duration(2 * aim.latency_s.value_or(0)));
  std::tie(aim.sent, aim.answered) = prober_.recent(now.steady, kAimSpan, grace);
  if (margins_) aim.margins_db = margins_->recent_margins_db();
  std::printf("%s\n", walk_.line(aim).c_str());
  std::fflush(stdout);
}

}  // namespace fadeward::app
