// What a port tells its sink: each change once, never a repeat per attempt.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/port/port.hpp"

namespace fadeward::port {

class Reporter {
 public:
  Reporter(Sink& sink, PortIndex index) : sink_(sink), index_(index) {}

  void opened(std::string_view text, Instant now);
  void closed(std::string_view text, Instant now);
  /// Sent only where the text differs from the last failure since the port was open.
  void failed(std::string_view text, Instant now);
  /// A failure that says nothing new and is not to be sent.
  void expect_failure(std::string_view text) { last_failure_ = text; }
  void ended(std::string_view text, Instant now);
  void discarded(DiscardReason reason, std::uint64_t count, std::string_view text, Instant now);

  Sink& sink() { return sink_; }

 private:
  void send(PortEvent::Kind kind, std::string_view text, Instant now);
  void send(PortEvent event, std::string_view text, Instant now);

  Sink& sink_;
  PortIndex index_;
  std::string last_failure_;
};

}  // namespace fadeward::port
