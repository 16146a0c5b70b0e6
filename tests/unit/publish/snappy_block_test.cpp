#include "fadeward/publish/snappy_block.hpp"

#include <gtest/gtest.h>
#include <snappy.h>

#include <random>
#include <string>

namespace fadeward::publish::snappy_block_test {
namespace {

using namespace std::string_literals;

/// The library of the format's authors is the reader.
void expect_same(const std::string& text, const std::string& what) {
  const std::string block = snappy_block(text);
  std::string back;
  ASSERT_TRUE(snappy::IsValidCompressedBuffer(block.data(), block.size())) << what;
  ASSERT_TRUE(snappy::Uncompress(block.data(), block.size(), &back)) << what;
  ASSERT_TRUE(back == text) << what << ": not the same " << text.size() << " bytes";
}

std::string noise(std::mt19937& random, std::size_t size, unsigned letters) {
  std::string out;
  for (std::size_t i = 0; i < size; ++i) out += static_cast<char>(random() % letters);
  return out;
}

// format_description.txt of the reference implementation, section 2.1: the low two bits 00 are a
// literal, its length less one above them; section 1: the size in front as a varint, 64 is 0x40.
TEST(SnappyBlock, ShortTextsAreALiteral) {
  EXPECT_EQ(snappy_block(""), std::string(1, '\0'));
  EXPECT_EQ(snappy_block("abc"), "\x03\x08" "abc");
  EXPECT_EQ(snappy_block(std::string(64, 'a')).front(), 0x40);
}

// Section 2.2: a run is a literal of one byte and copies with offset 1, of 64 bytes at most.
TEST(SnappyBlock, ARunTakesThreeBytesForSixtyFour) {
  EXPECT_EQ(snappy_block(std::string(65, 'a')), "\x41" "\x00" "a" "\xfe\x01\x00"s);
}

TEST(SnappyBlock, TextsAroundTheEdgesOfPiecesAndOffsetsComeBack) {
  std::mt19937 random(20310401);   // the seed is fixed: said here, not printed
  for (const std::size_t edge : {4U, 11U, 60U, 61U, 64U, 256U, 257U, 2047U, 2048U, 32768U, 65535U, 65536U, 131072U}) {
    for (std::size_t size = edge - 3; size <= edge + 3; ++size) {
      expect_same(std::string(size, 'x'), "a run of " + std::to_string(size));
      expect_same(noise(random, size, 256), "noise of " + std::to_string(size));
      // The same again exactly `size` bytes later.
      const std::string once = noise(random, size, 256);
      expect_same(once + once, "twice the noise of " + std::to_string(size));
    }
  }
}

TEST(SnappyBlock, AnyMixtureOfOldAndNewComesBack) {
  for (unsigned seed = 1; seed <= 300; ++seed) {
    std::mt19937 random(seed);
    std::string text;
    while (text.size() < 100000) {
      const std::size_t size = 1 + random() % (random() % 4 == 0 ? 5000 : 40);
      if (text.size() > size && random() % 3 != 0)
        text += text.substr(random() % (text.size() - size), size);
      else
        text += noise(random, size, random() % 2 == 0 ? 3 : 256);
    }
    expect_same(text, "seed " + std::to_string(seed));
  }
}

// The library's own bound (MaxCompressedLength) is what receivers set aside.
TEST(SnappyBlock, NoiseGrowsByNoMoreThanTheLibraryAllows) {
  std::mt19937 random(7);
  for (const std::size_t size : {1U, 100U, 1000U, 40000U, 500000U})
    EXPECT_LE(snappy_block(noise(random, size, 256)).size(), snappy::MaxCompressedLength(size)) << size;
}

TEST(SnappyBlock, SeriesThatDifferByANumberTakeLessThanFromTheLibrary) {
  std::string text;
  std::mt19937 random(7);
  for (int i = 0; i < 5000; ++i)
    text += "a_long_name_of_a_family{direction=\"inbound\",gateway=\"mill-house\",link=\"site-" +
            std::to_string(i % 100) + "\"} 0000" + noise(random, 2, 256) + "-and a moment that is the same for all";
  std::string theirs;
  snappy::Compress(text.data(), text.size(), &theirs);
  const std::string ours = snappy_block(text);
  std::printf("%zu bytes: %zu by the library, %zu by ours\n", text.size(), theirs.size(), ours.size());
  EXPECT_LT(ours.size(), theirs.size());
  expect_same(text, "series");
}

}  // namespace
}  // namespace fadeward::publish::snappy_block_test
