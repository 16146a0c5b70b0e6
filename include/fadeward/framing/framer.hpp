// From a stream of bytes to frames: what every framing promises, and the factory.
//
// Whatever a radio, a converter or a cable does to the stream, every byte fed comes out as part of
// a frame, as a delimiter, or as a discard with its reason; and the next good frame after any
// garbage is found. Framers are pure: they open nothing, read no clock and belong to one thread.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string_view>

#include "fadeward/base/port_event.hpp"
#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"

namespace fadeward::framing {

/// Takes what a framer finds, in the order of the stream.
class FrameSink {
 public:
  virtual ~FrameSink() = default;

  /// One frame, never empty. The bytes lie in the fed chunk or in the framer's buffer and live
  /// during the call. They are as they came: NUL and invalid UTF-8 included.
  virtual void frame(std::string_view bytes) = 0;

  /// `bytes` of the stream were thrown away. An endless frame is reported in parts while it runs,
  /// so that the count is visible before its end.
  virtual void discarded(DiscardReason reason, std::uint64_t bytes) = 0;
};

class Framer {
 public:
  virtual ~Framer() = default;

  /// Takes the next bytes of the stream, any number of them, split anywhere. Allocates nothing
  /// once its buffer has grown to the frames it sees; the buffer is bounded by `max_bytes`.
  virtual void feed(std::span<const std::uint8_t> bytes, FrameSink& sink) = 0;

  /// The input ended in good order: end of a file or of a datagram. What is held is given out if
  /// it makes a frame without its last delimiter. Returns the number of bytes held that did not: a
  /// cut tail, which is no damage and is not reported as discarded. Ready for a new stream.
  virtual std::size_t flush(FrameSink& sink) = 0;

  /// The line hung up: forgets what is held and returns how many bytes that was (a cut tail, not
  /// reported as discarded). Ready for a new stream.
  virtual std::size_t reset() = 0;
};

/// The framer that `settings` describe. Errors: max_bytes of zero, an invalid `block_end`
/// expression, a setting of one kind used with another.
Result<std::unique_ptr<Framer>> make_framer(const FramingSettings& settings);

}  // namespace fadeward::framing
