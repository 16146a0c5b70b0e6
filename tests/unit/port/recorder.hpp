// A sink that keeps what it is told, and a bounded way to run the loop until something is true.
#pragma once

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <functional>
#include <ostream>
#include <string>
#include <vector>

#include "fadeward/port/port.hpp"

namespace fadeward {

// For messages of failed checks.
inline void PrintTo(PortEvent::Kind kind, std::ostream* out) {
  constexpr const char* kNames[] = {"opened",    "closed",   "failed",          "ended",
                                    "discarded", "rejected", "value_discarded", "unknown_keys"};
  *out << kNames[static_cast<int>(kind)];
}

}  // namespace fadeward

namespace fadeward::port {

using namespace std::chrono_literals;
using Kind = PortEvent::Kind;

/// What must not wait for anything takes less than this, on a busy machine too.
inline constexpr auto kPromptly = 500ms;

struct Recorder : Sink {
  struct Noted {
    Kind kind;
    DiscardReason discard;
    std::uint64_t count;
    std::string text;
    Instant now;
    PortIndex port;
  };
  std::string bytes;
  std::size_t calls = 0;
  std::vector<std::string> datagrams;
  std::vector<Noted> events;
  std::function<void()> after_each;  ///< called at the end of every callback
  bool keep_bytes = true;
  std::uint64_t byte_count = 0;

  void on_bytes(std::span<const std::uint8_t> part, Instant) override {
    ++calls;
    byte_count += part.size();
    if (keep_bytes) bytes.append(reinterpret_cast<const char*>(part.data()), part.size());
    if (after_each) after_each();
  }
  void on_datagram(std::span<const std::uint8_t> part, Instant) override {
    datagrams.emplace_back(reinterpret_cast<const char*>(part.data()), part.size());
    if (after_each) after_each();
  }
  void on_event(const PortEvent& event, Instant now) override {
    events.push_back(
        {event.kind, event.discard, event.count, std::string(event.text), now, event.port});
    if (after_each) after_each();
  }

  std::vector<Kind> kinds() const {
    std::vector<Kind> all;
    for (const Noted& event : events) all.push_back(event.kind);
    return all;
  }
};

/// Runs the loop until `done` or the limit; returns done().
template <class Done>
bool run_until(boost::asio::io_context& io, Done done, std::chrono::milliseconds limit = 5000ms) {
  const auto end = std::chrono::steady_clock::now() + limit;
  while (!done()) {
    const auto left = end - std::chrono::steady_clock::now();
    if (left <= 0ms) return false;
    if (io.stopped()) io.restart();
    if (io.run_one_for(left) == 0 && io.stopped()) return done();
  }
  return true;
}

/// Runs the loop for a span, whatever happens; returns how many handlers ran.
inline std::size_t run_for(boost::asio::io_context& io, std::chrono::milliseconds span) {
  if (io.stopped()) io.restart();
  return io.run_for(span);
}

/// How long the loop takes to run out of work, at most 5 s.
inline std::chrono::milliseconds time_to_end(boost::asio::io_context& io) {
  const auto begin = std::chrono::steady_clock::now();
  run_for(io, 5000ms);
  return std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::steady_clock::now() -
                                                               begin);
}

/// Every byte value once, in an order that puts unlike neighbours together.
inline std::string all_byte_values() {
  std::string all;
  for (int i = 0; i < 256; ++i) all += static_cast<char>((i * 167) & 0xff);
  return all;
}

}  // namespace fadeward::port
