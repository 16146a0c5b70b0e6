// The frames of an acceptance test, as they go over the radio.
//
// On the wire, SIZE octets in all: 00, the COBS form of the content, 00. The zero in front keeps a
// burst of noise from taking the next frame with it. The content, little endian:
//
//   octet 0       kind: 0x11 probe, 0x12 echo, 0x13 question, 0x14 answer (the high four bits are
//                 the version of this layout)
//   1..4          session of the near end
//   5..7          number of the probe, from 1; of a question: the last probe sent before it
//   8..11         session of the far end             (8..32: echo and answer only, else zero)
//   12..14        echoes sent in this pair of sessions, this one included
//   15..17        lowest and
//   18..20        highest number of the probes heard
//   21..23        probes heard, each number once
//   24..26        probes heard again
//   27..29        probes heard after one with a higher number
//   30..32        frames that came damaged
//   33..          filler: octets of a pseudo-random sequence, so that a path that swallows or
//                 changes some octets is found out
//   last 4        CRC-32 of IEEE 802.3
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

namespace fadeward::prove {

inline constexpr std::size_t kSmallestFrame = 40;  ///< octets on the wire
inline constexpr std::size_t kLargestFrame = 4096;
inline constexpr std::uint32_t kMostNumbers = 1'000'000;  ///< probes of one run

enum class FrameKind : std::uint8_t { probe = 0x11, echo = 0x12, question = 0x13, answer = 0x14 };

/// What the far end has counted since it first heard of the session. Numbers saturate at 2^24 - 1.
struct FarCounts {
  std::uint32_t session = 0;
  std::uint32_t echoes = 0;
  std::uint32_t first = 0;    ///< 0: no probe yet
  std::uint32_t highest = 0;
  std::uint32_t heard = 0;
  std::uint32_t duplicates = 0;
  std::uint32_t reordered = 0;
  std::uint32_t corrupted = 0;
  bool operator==(const FarCounts&) const = default;
};

struct Frame {
  FrameKind kind = FrameKind::probe;
  std::uint32_t session = 0;
  std::uint32_t number = 0;
  FarCounts far;
  bool operator==(const Frame&) const = default;
};

/// Appends exactly `size` octets (kept within kSmallestFrame to kLargestFrame) to `out`.
void append_frame(const Frame& frame, std::size_t size, std::vector<std::uint8_t>& out);

/// `content`: decoded, without its CRC, as framing::CobsFramer with crc32 gives it out. Empty: not
/// one of ours.
std::optional<Frame> read_frame(std::string_view content);

/// Octets on the wire of a frame with this content (without CRC).
constexpr std::size_t wire_size(std::size_t content_octets) { return content_octets + 4 + 3; }

}  // namespace fadeward::prove
