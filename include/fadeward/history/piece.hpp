// The frame around what a row of the history holds: [checksum, 2 bytes][kind, 1 byte][bits].
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "fadeward/history/bits.hpp"

namespace fadeward::history {

enum class PieceKind : std::uint8_t { bin = 1, hour = 2, summary = 3 };

/// The kind of an undamaged piece. Empty: too short, wrong sum, or of a later version.
std::optional<PieceKind> kind_of(std::string_view piece);
/// The bits of a piece that has a kind.
std::string_view bits_of(std::string_view piece);

namespace detail {
void begin_piece(std::string& out, PieceKind kind);
void seal_piece(std::string& out, std::size_t begin);
}  // namespace detail

/// Appends a piece whose bits are what `write(BitWriter&)` writes.
template <class Write>
void put_piece(std::string& out, PieceKind kind, Write write) {
  const std::size_t begin = out.size();
  detail::begin_piece(out, kind);
  {
    BitWriter bits(out);
    write(bits);
  }
  detail::seal_piece(out, begin);
}

}  // namespace fadeward::history
