// A port turns one configured source into bytes, and says what happens to the source.
//
// Everything runs on the thread of the io_context. Nothing blocks it: no open, no write, no close.
#pragma once

#include <cstdint>
#include <memory>
#include <span>

#include "fadeward/base/port_event.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/base/time.hpp"

namespace boost::asio {
class io_context;
}

namespace fadeward::port {

/// Who listens to a port. A callback may stop or destroy the port that calls it.
class Sink {
 public:
  virtual ~Sink() = default;

  /// The next bytes of a stream (serial, tcp, file, stdin), cut anywhere. Never empty, at most
  /// 64 KiB; the view lives during the call. `now`: when the bytes were fetched from the kernel.
  virtual void on_bytes(std::span<const std::uint8_t> bytes, Instant now) = 0;

  /// One whole datagram (udp). What is in it ends with it: a last line without line end is
  /// complete, and nothing carries over to the next. Never empty.
  virtual void on_datagram(std::span<const std::uint8_t> bytes, Instant now) = 0;

  /// opened, closed, failed, ended, or discarded (with overrun or garbage). After `opened` and
  /// `closed` a stream begins anew: a frame begun before is cut off.
  virtual void on_event(const PortEvent& event, Instant now) = 0;
};

/// What a port has done since it was made.
struct PortCounts {
  std::uint64_t bytes = 0;   ///< handed to the sink
  std::uint64_t opened = 0;  ///< times that the source was opened
  std::uint64_t polls_sent = 0;
  std::uint64_t polls_abandoned = 0;  ///< the device did not take all of it at once
};

/// One source. Life: start, any number of openings and closings, stop. A stopped port stays so.
class Port {
 public:
  /// Stops. Must happen before the io_context ends.
  virtual ~Port() = default;

  /// Returns at once; the first attempt to open follows from the loop. Calls the sink never.
  virtual void start() = 0;

  /// Cancels everything and closes at once. No call of the sink follows, not even `closed`, and
  /// nothing of the port keeps the io_context from ending.
  virtual void stop() = 0;

  /// Writes what the device takes at once and returns how much that was; the rest is the caller's.
  /// Closed, or a source that cannot be written: 0. udp: to the last peer heard.
  virtual std::size_t send(std::span<const std::uint8_t> bytes) = 0;

  virtual PortCounts counts() const = 0;
};

/// Makes the port for `settings.source`; opens nothing yet. `settings` are copied, the io_context
/// and the sink must outlive the port. Throws std::bad_alloc or what Asio throws when the system
/// is out of descriptors: start-up only.
std::unique_ptr<Port> make_port(boost::asio::io_context& io, PortIndex index,
                                const PortSettings& settings, Sink& sink);

}  // namespace fadeward::port
