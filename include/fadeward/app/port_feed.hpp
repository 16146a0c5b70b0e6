// One port of the daemon: bytes -> frames -> reports -> supervisor.
#pragma once

#include <memory>
#include <string>

#include "fadeward/app/clock.hpp"
#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/framing/framer.hpp"
#include "fadeward/judge/supervisor.hpp"
#include "fadeward/port/port.hpp"
#include "fadeward/report/decoder.hpp"

namespace boost::asio {
class io_context;
}

namespace fadeward::app {

/// Lives on the thread of the io_context; clock and supervisor outlive it. Every frame of one chunk
/// is booked at the time at which the chunk was read.
class PortFeed final : private port::Sink, private framing::FrameSink, private report::ReportSink {
 public:
  /// An error is one of the settings that `config` let pass: an expression that RE2 refuses.
  static Result<std::unique_ptr<PortFeed>> make(boost::asio::io_context& io, PortIndex index,
                                                const PortSettings& settings, const Clock& clock,
                                                judge::Supervisor& supervisor);
  void start() { port_->start(); }
  void stop() { port_->stop(); }
  const PortSettings& settings() const { return settings_; }
  /// After a reload the port may stand elsewhere in the settings.
  void move_to(PortIndex index) { index_ = index; }
  bool ended() const { return ended_; }  ///< a file read to its end

 private:
  PortFeed(PortIndex index, PortSettings settings, const Clock& clock,
           judge::Supervisor& supervisor)
      : index_(index), settings_(std::move(settings)), clock_(clock), supervisor_(supervisor) {}

  void on_bytes(std::span<const std::uint8_t> bytes, Instant now) override;
  void on_datagram(std::span<const std::uint8_t> bytes, Instant now) override;
  void on_event(const PortEvent& event, Instant now) override;
  void frame(std::string_view bytes) override;
  void discarded(DiscardReason reason, std::uint64_t bytes) override;
  void report(LinkReport& report) override;
  void rejected(RejectReason reason, std::string_view frame) override;
  void values_discarded(std::uint64_t count) override;
  void unknown_keys(std::uint64_t count) override;
  void note(PortEvent::Kind kind, std::uint64_t count);
  void log(const PortEvent& event) const;

  PortIndex index_;
  const PortSettings settings_;
  const Clock& clock_;
  judge::Supervisor& supervisor_;
  std::unique_ptr<framing::Framer> framer_;
  std::unique_ptr<report::Decoder> decoder_;
  std::unique_ptr<port::Port> port_;
  Instant now_{};  ///< of the chunk in hand
  Duration rejected_logged_{Duration::min()};
  std::uint64_t rejected_unlogged_ = 0;
  bool ended_ = false;
};

}  // namespace fadeward::app
