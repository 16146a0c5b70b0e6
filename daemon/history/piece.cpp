#include "fadeward/history/piece.hpp"

#include <bit>
#include <cstring>

namespace fadeward::history {

namespace {

constexpr std::size_t kHead = 3;

std::uint16_t checksum(std::string_view bytes) {
  std::uint64_t h = 0x51ed270b + bytes.size();
  const auto mix = [&h](std::uint64_t word) {
    h = (h ^ word) * 0x9fb21c651e98df25U;
    h ^= h >> 31;
  };
  while (bytes.size() >= 8) {
    std::uint64_t word = 0;
    std::memcpy(&word, bytes.data(), 8);
    if constexpr (std::endian::native == std::endian::big) word = __builtin_bswap64(word);
    mix(word);
    bytes.remove_prefix(8);
  }
  for (const char c : bytes) mix(static_cast<unsigned char>(c));
  return static_cast<std::uint16_t>(h >> 40);
}

}  // namespace

void detail::begin_piece(std::string& out, PieceKind kind) {
  out.append(2, '\0');
  out += static_cast<char>(kind);
}

void detail::seal_piece(std::string& out, std::size_t begin) {
  const std::uint16_t sum = checksum(std::string_view(out).substr(begin + 2));
  out[begin] = static_cast<char>(sum & 0xff);
  out[begin + 1] = static_cast<char>(sum >> 8);
}

std::optional<PieceKind> kind_of(std::string_view piece) {
  if (piece.size() < kHead) return {};
  const auto byte = [&](std::size_t i) { return unsigned{static_cast<unsigned char>(piece[i])}; };
  if (checksum(piece.substr(2)) != (byte(0) | byte(1) << 8)) return {};
  const unsigned kind = byte(2);
  if (kind < 1 || kind > 3) return {};
  return static_cast<PieceKind>(kind);
}

std::string_view bits_of(std::string_view piece) { return piece.substr(kHead); }

}  // namespace fadeward::history
