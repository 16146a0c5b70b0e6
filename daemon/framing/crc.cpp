#include "fadeward/framing/crc.hpp"

#include <array>

namespace fadeward::framing {

namespace {

/// Table for a register that shifts right (the first bit on the line is the lowest).
template <class Word>
constexpr std::array<Word, 256> reflected_table(Word polynomial) {
  std::array<Word, 256> table{};
  for (unsigned i = 0; i < 256; ++i) {
    Word word = static_cast<Word>(i);
    for (int bit = 0; bit < 8; ++bit)
      word = static_cast<Word>((word & 1U) != 0 ? (word >> 1U) ^ polynomial : word >> 1U);
    table[i] = word;
  }
  return table;
}

/// Table for a register that shifts left.
constexpr std::array<std::uint16_t, 256> plain_table(std::uint16_t polynomial) {
  std::array<std::uint16_t, 256> table{};
  for (unsigned i = 0; i < 256; ++i) {
    unsigned word = i << 8U;
    for (int bit = 0; bit < 8; ++bit)
      word = (word & 0x8000U) != 0 ? (word << 1U) ^ polynomial : word << 1U;
    table[i] = static_cast<std::uint16_t>(word);
  }
  return table;
}

constexpr auto kX25 = reflected_table<std::uint16_t>(0x8408);
constexpr auto kCcitt = plain_table(0x1021);
constexpr auto kEthernet = reflected_table<std::uint32_t>(0xedb88320);

template <class Word>
Word reflected(const std::array<Word, 256>& table, std::span<const std::uint8_t> bytes) {
  Word word = static_cast<Word>(~Word{0});
  for (const std::uint8_t byte : bytes)
    word = static_cast<Word>((word >> 8U) ^ table[(word ^ byte) & 0xffU]);
  return static_cast<Word>(~word);
}

}  // namespace

std::uint16_t crc16_x25(std::span<const std::uint8_t> bytes) { return reflected(kX25, bytes); }

std::uint16_t crc16_ccitt_false(std::span<const std::uint8_t> bytes) {
  std::uint16_t word = 0xffff;
  for (const std::uint8_t byte : bytes)
    word = static_cast<std::uint16_t>((word << 8U) ^ kCcitt[((word >> 8U) ^ byte) & 0xffU]);
  return word;
}

std::uint32_t crc32(std::span<const std::uint8_t> bytes) { return reflected(kEthernet, bytes); }

std::size_t crc_size(FramingSettings::Crc kind) {
  switch (kind) {
    case FramingSettings::Crc::none: return 0;
    case FramingSettings::Crc::crc16_x25:
    case FramingSettings::Crc::crc16_ccitt_false: return 2;
    case FramingSettings::Crc::crc32: return 4;
  }
  return 0;
}

bool crc_matches(FramingSettings::Crc kind, std::span<const std::uint8_t> frame) {
  const std::size_t size = crc_size(kind);
  if (frame.size() < size) return false;
  const auto payload = frame.first(frame.size() - size);
  std::uint32_t stored = 0;
  for (std::size_t i = 0; i < size; ++i)
    stored |= static_cast<std::uint32_t>(frame[payload.size() + i]) << (8 * i);
  switch (kind) {
    case FramingSettings::Crc::none: return true;
    case FramingSettings::Crc::crc16_x25: return stored == crc16_x25(payload);
    case FramingSettings::Crc::crc16_ccitt_false: return stored == crc16_ccitt_false(payload);
    case FramingSettings::Crc::crc32: return stored == crc32(payload);
  }
  return false;
}

}  // namespace fadeward::framing
