// A port that is written to as well as read: what an acceptance test runs over.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/port/port.hpp"

namespace fadeward::app {

/// How a port is given on the command line.
struct PortWords {
  std::string port;  ///< serial:PATH, tcp://HOST:PORT, or a name of the configuration
  std::optional<std::uint32_t> baud;
  std::string parity, flow;  ///< empty: none
};

/// Errors in words for the command line. `settings` may be null; a port that does not carry both
/// directions and every octet is refused.
Result<PortSettings> port_of(const PortWords& words, const Settings* settings);

/// Lives on the thread of the io_context. What the device does not take at once waits.
class DuplexLine final : private port::Sink {
 public:
  struct Handlers {
    std::function<void(std::span<const std::uint8_t>, Instant)> bytes;
    std::function<void(const std::string&, Instant)> opened;  ///< what it is
    std::function<void(const std::string&, Instant)> closed;  ///< why
    std::function<void(const std::string&, Instant)> failed;  ///< why it does not open
  };
  static constexpr std::size_t kMostWaiting = 64 * 1024;

  DuplexLine(boost::asio::io_context& io, const PortSettings& settings, Handlers handlers);
  void start() { port_->start(); }
  void stop();

  bool open() const { return open_; }
  /// Has the device taken everything?
  bool idle() const { return waiting_.empty(); }
  /// False: closed, or more than kMostWaiting octets wait; nothing of it is sent.
  bool send(std::span<const std::uint8_t> bytes);

 private:
  void on_bytes(std::span<const std::uint8_t> bytes, Instant now) override;
  void on_datagram(std::span<const std::uint8_t> bytes, Instant now) override;
  void on_event(const PortEvent& event, Instant now) override;
  void flush();

  const Handlers handlers_;
  std::unique_ptr<port::Port> port_;
  boost::asio::steady_timer retry_;
  std::vector<std::uint8_t> waiting_;
  bool open_ = false;
};

}  // namespace fadeward::app
