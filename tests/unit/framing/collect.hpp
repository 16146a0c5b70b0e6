// What a framer said, and ways to feed it.
#pragma once

#include <array>
#include <cstdint>
#include <random>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/framing/framer.hpp"

namespace fadeward::framing {

inline std::span<const std::uint8_t> octets(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

inline std::string bytes(std::initializer_list<int> values) {
  std::string out;
  for (const int value : values) out.push_back(static_cast<char>(value));
  return out;
}

struct Collected final : FrameSink {
  std::vector<std::string> frames;
  std::array<std::uint64_t, kDiscardReasons> lost{};

  void frame(std::string_view bytes) override { frames.emplace_back(bytes); }
  void discarded(DiscardReason reason, std::uint64_t count) override {
    lost[static_cast<std::size_t>(reason)] += count;
  }
  std::uint64_t operator[](DiscardReason reason) const {
    return lost[static_cast<std::size_t>(reason)];
  }
  std::uint64_t lost_bytes() const {
    std::uint64_t sum = 0;
    for (const auto count : lost) sum += count;
    return sum;
  }
  std::uint64_t frame_bytes() const {
    std::uint64_t sum = 0;
    for (const auto& frame : frames) sum += frame.size();
    return sum;
  }
  bool operator==(const Collected& other) const {
    return frames == other.frames && lost == other.lost;
  }
};

inline std::ostream& operator<<(std::ostream& out, const Collected& got) {
  out << got.frames.size() << " frames, lost";
  for (const auto count : got.lost) out << ' ' << count;
  return out;
}

inline Collected feed_whole(Framer& framer, std::string_view stream) {
  Collected got;
  framer.feed(octets(stream), got);
  return got;
}

inline Collected feed_bytewise(Framer& framer, std::string_view stream) {
  Collected got;
  for (const char& c : stream) framer.feed(octets({&c, 1}), got);
  return got;
}

inline Collected feed_split(Framer& framer, std::string_view stream, std::size_t at) {
  Collected got;
  framer.feed(octets(stream.substr(0, at)), got);
  framer.feed(octets(stream.substr(at)), got);
  return got;
}

/// Feeds in pieces of 0 to `longest` bytes.
inline Collected feed_random(Framer& framer, std::string_view stream, std::size_t longest,
                             std::mt19937_64& random) {
  Collected got;
  while (!stream.empty()) {
    const std::size_t size = std::min<std::size_t>(random() % (longest + 1), stream.size());
    framer.feed(octets(stream.substr(0, size)), got);
    stream.remove_prefix(size);
  }
  return got;
}

inline std::string noise(std::size_t size, std::mt19937_64& random) {
  std::string out(size, '\0');
  for (char& c : out) c = static_cast<char>(random());
  return out;
}

}  // namespace fadeward::framing
