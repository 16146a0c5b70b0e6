// Consistent Overhead Byte Stuffing (Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2),
// 1999): frames between zero octets.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "fadeward/framing/delimited.hpp"
#include "fadeward/framing/framer.hpp"

namespace fadeward::framing {

/// Decodes one frame (without delimiter) into `decoded`, which it overwrites. False if `encoded` is
/// empty, holds a zero octet, or ends inside a block.
bool cobs_decode(std::span<const std::uint8_t> encoded, std::vector<std::uint8_t>& decoded);

/// Frames end with 0x00. Zero octets in a row and frames without content are fill and skipped.
/// With a CRC the check stands little endian at the end of the decoded frame and is taken off.
///
/// Discards, counted in encoded octets: encoding (a broken frame), checksum, too_long (more than
/// `max_bytes` of content). Where the stream begins in the middle of a frame, its rest goes the
/// same way: only a CRC can tell it from a whole frame.
///
/// At the end of the input (`flush`) what is held is a frame if it decodes and its CRC matches.
class CobsFramer final : public Framer {
 public:
  /// max_bytes at least 1.
  CobsFramer(std::size_t max_bytes, FramingSettings::Crc crc);

  void feed(std::span<const std::uint8_t> bytes, FrameSink& sink) override;
  std::size_t flush(FrameSink& sink) override;
  std::size_t reset() override;

 private:
  enum class Verdict : std::uint8_t { frame, fill, encoding, checksum, too_long };
  Verdict judge(std::span<const std::uint8_t> encoded);  ///< leaves the content in decoded_
  void piece(std::span<const std::uint8_t> encoded, FrameSink& sink);

  const std::size_t max_bytes_;
  const FramingSettings::Crc crc_;
  Delimited pieces_;
  std::vector<std::uint8_t> decoded_;
};

}  // namespace fadeward::framing
