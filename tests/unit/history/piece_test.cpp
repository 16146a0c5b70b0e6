// The frame around a row: what went in comes out, and no wrong byte passes.
#include "fadeward/history/piece.hpp"

#include <gtest/gtest.h>

namespace fadeward::history::piece_test {
namespace {

std::string piece_of(PieceKind kind, std::uint64_t word) {
  std::string out;
  put_piece(out, kind, [&](BitWriter& bits) { bits.bits(word, 64); });
  return out;
}

TEST(Piece, HasItsKindAndItsBits) {
  for (const PieceKind kind : {PieceKind::bin, PieceKind::hour, PieceKind::summary}) {
    const std::string piece = piece_of(kind, 0x0123456789abcdef);
    ASSERT_EQ(piece.size(), 11U);  // sum, kind, eight bytes
    EXPECT_EQ(kind_of(piece), kind);
    EXPECT_EQ(bits_of(piece), "\x01\x23\x45\x67\x89\xab\xcd\xef");
  }
}

TEST(Piece, IsAppended) {
  std::string out = "before";
  put_piece(out, PieceKind::hour, [](BitWriter& bits) { bits.flag(true); });
  EXPECT_EQ(out.substr(0, 6), "before");
  EXPECT_EQ(kind_of(std::string_view(out).substr(6)), PieceKind::hour);
}

TEST(Piece, NeitherAWrongBitNorAMissingByteNorALaterKindPasses) {
  const std::string piece = piece_of(PieceKind::bin, 0xfedcba9876543210);
  for (std::size_t i = 0; i < piece.size(); ++i)
    for (int bit = 0; bit < 8; ++bit) {
      std::string wrong = piece;
      wrong[i] = static_cast<char>(wrong[i] ^ 1 << bit);
      EXPECT_FALSE(kind_of(wrong)) << "byte " << i << ", bit " << bit;
    }
  for (std::size_t size = 0; size < piece.size(); ++size)
    EXPECT_FALSE(kind_of(piece.substr(0, size))) << size;
  EXPECT_FALSE(kind_of(piece_of(static_cast<PieceKind>(4), 1)));
  EXPECT_FALSE(kind_of(piece_of(static_cast<PieceKind>(0), 1)));
}

}  // namespace
}  // namespace fadeward::history::piece_test
