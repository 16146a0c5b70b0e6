// One run of an acceptance test at the near end: time, port, signals and live lines around the core
// in `prove`.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/duplex_line.hpp"
#include "fadeward/app/margin_watch.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/prove/live.hpp"
#include "fadeward/prove/prober.hpp"
#include "fadeward/prove/report.hpp"

namespace fadeward::app {

/// Phases follow each other; a single timer wakes it for what is due next. One thread, one run.
class ProvingRun {
 public:
  /// `options` must outlive it.
  ProvingRun(const ProveOptions& options, const PortSettings& port);

  static std::uint64_t planned_frames(const ProveOptions& options);

  boost::asio::io_context& io() { return io_; }
  /// Before `run`; `watch` lives on `io`. Without one margins are not measured.
  void watch_margins(std::unique_ptr<MarginWatch> watch) { margins_ = std::move(watch); }

  /// Returns when it came to an end or was ended by hand; not empty: why the port does not open.
  std::string run();

  /// Up to now, judged. Antenna heights are left to the caller.
  prove::Proof proof() const;

 private:
  enum class Phase { opening, knocking, probing, waiting, asking };

  void take(std::span<const std::uint8_t> bytes, Instant now);
  void opened(const std::string& what);
  void closed(const std::string& why, Instant now);
  void failed(const std::string& why);
  void wait_for_signal();
  void end(bool by_hand);

  void enter(Phase phase);
  void step();
  // Each returns how long nothing is due.
  Duration step_opening(Instant now);
  Duration step_knocking(Instant now);
  Duration step_probing(Instant now);
  Duration step_waiting(Instant now);
  Duration step_asking(Instant now);
  void ask(Instant now);

  void clear_live();
  void say(const std::string& text);
  void tell(Instant now);
  void tell_progress(Instant now);
  void tell_aim(Instant now);

  const ProveOptions& options_;
  boost::asio::io_context io_{1};
  std::unique_ptr<MarginWatch> margins_;
  DuplexLine line_;
  prove::Prober prober_;
  boost::asio::signal_set signals_;
  boost::asio::steady_timer timer_;
  const bool live_;
  const Duration period_;
  const std::uint64_t planned_;
  Phase phase_ = Phase::opening;
  Duration phase_since_{};
  Duration due_{};
  Duration last_sent_{};
  Duration told_{};
  int questions_ = 0;
  bool by_hand_ = false;
  bool live_shown_ = false;
  Instant began_{};
  std::optional<Instant> first_sent_;
  std::string what_, trouble_;
  prove::Walk walk_;
};

}  // namespace fadeward::app
