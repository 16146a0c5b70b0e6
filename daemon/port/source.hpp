// The life that all kinds of ports share: closed, trying, open, closed again; and asking.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "fadeward/port/backoff.hpp"
#include "fadeward/port/poll_schedule.hpp"
#include "fadeward/port/port.hpp"
#include "reporter.hpp"

namespace fadeward::port {

/// Handlers hold the source alive and carry the generation in which they were started; everything
/// that closes the source begins a new generation, so that a handler which was already on its way
/// finds itself out of date and does nothing.
class Source : public std::enable_shared_from_this<Source> {
 public:
  /// `longest_wait`: between two attempts to open.
  Source(boost::asio::io_context& io, PortIndex index, PortSettings settings, Sink& sink,
         Duration longest_wait);
  virtual ~Source() = default;

  void start();
  void stop();
  std::size_t send(std::span<const std::uint8_t> bytes) { return open_ ? write_now(bytes) : 0; }
  PortCounts counts() const { return counts_; }

 protected:
  // What a kind of source does.
  virtual void attempt(Instant now) = 0;  ///< ends in came_up or stays_down, now or later
  virtual void begin_reading() = 0;       ///< once after came_up
  virtual void shut() = 0;                ///< closes whatever is open, at once
  virtual std::size_t write_now(std::span<const std::uint8_t> bytes) = 0;
  virtual std::size_t unsent() { return 0; }  ///< bytes of earlier writes not yet gone
  virtual void discard_unsent() {}

  // What it reports. Each may end in a call of stop() by the sink.
  void came_up(std::string_view text, Instant now);
  void went_down(std::string_view text, Instant now);   ///< closed; tries again
  void stays_down(std::string_view text, Instant now);  ///< could not open; tries again
  void gives_up(std::string_view text, Instant now);    ///< could not open and never will
  void finish(std::string_view text, Instant now);      ///< the end of the input
  void breaks_off(std::string_view text, Instant now);  ///< closed; does not try again
  void deliver(std::span<const std::uint8_t> bytes, Instant now);
  void deliver_datagram(std::span<const std::uint8_t> bytes, Instant now);

  bool is_open() const { return open_; }
  /// Nothing that was started before will be heard of again.
  void new_generation();

  /// Wraps a handler so that it runs only in the generation that started it.
  template <class F>
  auto live(F f) {
    return [self = shared_from_this(), generation = generation_, f = std::move(f)](
               const auto& error, const auto&... rest) mutable {
      if (generation == self->generation_) f(error, rest...);
    };
  }

  /// Runs `f(now)` once after `delay`, unless the generation ends or another delay begins first.
  template <class F>
  void after(Duration delay, F f) {
    timer_.expires_after(delay);
    timer_.async_wait(live([this, turn = ++turn_, f = std::move(f)](const auto& error) mutable {
      if (!error && turn == turn_) f(clocks());
    }));
  }
  void cancel_delay();

  static Instant clocks();

  boost::asio::io_context& io_;
  const PortSettings settings_;
  Reporter reporter_;

 private:
  void try_again();
  void close_with(std::string_view text, Instant now);
  void arm_poll(Instant now);
  void ask(Instant now);

  boost::asio::steady_timer timer_;  ///< one use at a time: retry, time limit or pause
  boost::asio::steady_timer poll_timer_;
  std::optional<PollSchedule> schedule_;
  Backoff backoff_;
  PortCounts counts_;
  std::uint64_t generation_ = 0;
  std::uint64_t turn_ = 0;
  Duration opened_at_{};
  bool open_ = false;
  bool stopped_ = false;
};

std::shared_ptr<Source> make_serial_source(boost::asio::io_context&, PortIndex, const PortSettings&,
                                           Sink&);
std::shared_ptr<Source> make_tcp_source(boost::asio::io_context&, PortIndex, const PortSettings&,
                                        Sink&);
std::shared_ptr<Source> make_udp_source(boost::asio::io_context&, PortIndex, const PortSettings&,
                                        Sink&);
/// file and stdin
std::shared_ptr<Source> make_input_source(boost::asio::io_context&, PortIndex, const PortSettings&,
                                          Sink&);

}  // namespace fadeward::port
