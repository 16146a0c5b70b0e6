#include "reporter.hpp"

namespace fadeward::port {

namespace {
constexpr std::size_t kLongestText = 512;  // promised by PortEvent
}

void Reporter::send(PortEvent::Kind kind, std::string_view text, Instant now) {
  PortEvent event;
  event.kind = kind;
  send(event, text, now);
}

void Reporter::send(PortEvent event, std::string_view text, Instant now) {
  event.port = index_;
  event.text = text.substr(0, kLongestText);
  sink_.on_event(event, now);
}

void Reporter::opened(std::string_view text, Instant now) {
  last_failure_.clear();
  send(PortEvent::Kind::opened, text, now);
}

void Reporter::closed(std::string_view text, Instant now) {
  send(PortEvent::Kind::closed, text, now);
}

void Reporter::failed(std::string_view text, Instant now) {
  if (text == last_failure_) return;
  last_failure_ = text;
  send(PortEvent::Kind::failed, text, now);
}

void Reporter::ended(std::string_view text, Instant now) {
  send(PortEvent::Kind::ended, text, now);
}

void Reporter::discarded(DiscardReason reason, std::uint64_t count, std::string_view text,
                         Instant now) {
  PortEvent event;
  event.kind = PortEvent::Kind::discarded;
  event.count = count;
  event.discard = reason;
  send(event, text, now);
}

}  // namespace fadeward::port
