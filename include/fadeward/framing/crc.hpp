// Cyclic redundancy checks of serial framings.
//
// Each equals its entry in the usual catalogue of parametrised CRC algorithms; the check value is
// the CRC of the nine characters "123456789".
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "fadeward/base/settings.hpp"

namespace fadeward::framing {

/// CRC-16/X-25, the 16-bit FCS of RFC 1662 appendix C (complemented). Check value 0x906e.
std::uint16_t crc16_x25(std::span<const std::uint8_t> bytes);

/// CRC-16/CCITT-FALSE: polynomial 0x1021, initial 0xffff, not reflected. Check value 0x29b1.
std::uint16_t crc16_ccitt_false(std::span<const std::uint8_t> bytes);

/// CRC-32 of IEEE 802.3. Check value 0xcbf43926.
std::uint32_t crc32(std::span<const std::uint8_t> bytes);

/// Octets that a check of this kind occupies at the end of a frame: 0, 2 or 4.
std::size_t crc_size(FramingSettings::Crc kind);

/// Does the check at the end of `frame` (little endian) match what stands before it? A frame
/// shorter than its check does not. `none` matches always.
bool crc_matches(FramingSettings::Crc kind, std::span<const std::uint8_t> frame);

}  // namespace fadeward::framing
