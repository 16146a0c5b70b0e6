// Asynchronous HDLC framing with a 16-bit frame check sequence (RFC 1662).
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "fadeward/framing/delimited.hpp"
#include "fadeward/framing/framer.hpp"

namespace fadeward::framing {

/// Frames stand between flags (0x7e); one flag may end a frame and begin the next. 0x7d announces
/// an octet XOR 0x20. The FCS is checked and taken off; address, control and protocol octets stay
/// in the frame, since what they mean is the decoder's affair. No control characters are removed:
/// the receiving character map is empty.
///
/// Discards, counted in octets as they came: garbage (before the first flag, or fewer than four
/// octets between flags, which RFC 1662 section 4.3 has discarded without an FCS error), checksum,
/// aborted (0x7d 0x7e), too_long (more than `max_bytes` of content).
///
/// At the end of the input (`flush`) what follows the last flag is a frame if its FCS matches.
class HdlcFramer final : public Framer {
 public:
  /// max_bytes at least 1.
  explicit HdlcFramer(std::size_t max_bytes);

  void feed(std::span<const std::uint8_t> bytes, FrameSink& sink) override;
  std::size_t flush(FrameSink& sink) override;
  std::size_t reset() override;

 private:
  enum class Verdict : std::uint8_t { frame, fill, garbage, checksum, aborted, too_long };
  Verdict judge(std::span<const std::uint8_t> raw);  ///< leaves the content in content_
  void piece(std::span<const std::uint8_t> raw, FrameSink& sink);

  const std::size_t max_bytes_;
  Delimited pieces_;
  std::vector<std::uint8_t> unescaped_;
  std::span<const std::uint8_t> content_;
  bool hunting_ = true;  ///< no flag seen yet
};

}  // namespace fadeward::framing
