// What a port reports about itself to the supervisor.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "fadeward/base/report.hpp"

namespace fadeward {

/// Why bytes were thrown away between the radio and the decoder.
enum class DiscardReason : std::uint8_t {
  garbage,     ///< bytes before, between or inside frames that belong to none
  too_long,    ///< a frame above the length limit
  checksum,    ///< a frame whose CRC or FCS does not match
  aborted,     ///< a frame that the sender gave up (HDLC abort)
  encoding,    ///< a frame that breaks the rules of its framing (COBS)
  overrun,     ///< the kernel or the converter lost bytes (as far as it says so)
};
inline constexpr std::size_t kDiscardReasons = 6;
std::string_view name_of(DiscardReason reason);

/// Why a frame or a report was not used.
enum class RejectReason : std::uint8_t {
  syntax,        ///< no decoder of the port could read it
  empty,         ///< read, but nothing in it says anything about a link
  no_time,       ///< a recording's report without time (replay only)
  late,          ///< too old to be put in order
  implausible,   ///< every value in it was impossible
};
inline constexpr std::size_t kRejectReasons = 5;
std::string_view name_of(RejectReason reason);

struct PortEvent {
  enum class Kind : std::uint8_t {
    opened,      ///< bytes may flow; `text` names the device or peer
    closed,      ///< the device vanished or the peer hung up; `text` says why
    failed,      ///< an attempt to open failed; sent once per change of reason, not per attempt
    ended,       ///< a file or standard input came to its end: no fault, nothing will follow
    discarded,   ///< `count` bytes were thrown away for `discard`
    rejected,    ///< one frame or report was not used, for `reject`; `text` is its beginning
    value_discarded,  ///< `count` single values of a report were impossible and left out
    unknown_keys,     ///< `count` keys that nobody knows were ignored
  };
  PortIndex port = kNoPort;
  Kind kind = Kind::opened;
  std::uint64_t count = 0;
  DiscardReason discard = DiscardReason::garbage;
  RejectReason reject = RejectReason::syntax;
  std::string_view text;   ///< foreign text, unescaped, at most 512 bytes; lives during the call
};

}  // namespace fadeward
