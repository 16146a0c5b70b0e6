// Codes against their definition, read one by one, in runs and beyond the end.
#include "fadeward/history/bits.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <string>
#include <vector>

namespace fadeward::history::bits_test {
namespace {

std::string as_text(const std::string& bytes) {
  std::string out;
  for (const char byte : bytes)
    for (int bit = 7; bit >= 0; --bit)
      out += (static_cast<unsigned char>(byte) >> bit & 1) ? '1' : '0';
  return out;
}

// ITU-T H.264 (08/2021) table 9-1: 1, 010, 011, 00100, 00101, 00110, 00111, 0001000 for 0..7.
TEST(Bits, CodesOfOrderNothingAreThoseOfTheStandard) {
  std::string out;
  {
    BitWriter bits(out);
    for (unsigned value = 0; value < 8; ++value) bits.golomb(value, 0);
  }
  EXPECT_EQ(as_text(out).substr(0, 34), "1010011001000010100110001110001000");
  BitReader bits(out);
  for (unsigned value = 0; value < 8; ++value) EXPECT_EQ(bits.golomb(0), value);
  EXPECT_TRUE(bits.ok());
}

/// Numbers as cells hold them, now and then any number.
std::vector<std::uint64_t> numbers(std::mt19937_64& random, std::size_t count) {
  std::vector<std::uint64_t> out(count);
  for (std::uint64_t& value : out)
    value = random() >> (random() % 16 == 0 ? 1 + random() % 63 : 60 + random() % 4);
  return out;
}

TEST(Bits, ARunReadsWhatWasWritten) {
  for (unsigned seed = 1; seed <= 400; ++seed) {
    std::mt19937_64 random(seed);
    const int k = static_cast<int>(seed % 8);
    const auto values = numbers(random, random() % 90);
    std::string out;
    {
      BitWriter bits(out);
      bits.bits(1, static_cast<int>(seed % 11));
      for (const std::uint64_t value : values) bits.golomb(value, k);
      bits.bits(0x2a5, 10);
    }
    BitReader bits(out);
    bits.bits(static_cast<int>(seed % 11));
    std::vector<std::uint64_t> back(values.size());
    bits.golombs(back.data(), back.size(), k);
    EXPECT_EQ(back, values) << "seed " << seed;
    EXPECT_EQ(bits.bits(10), 0x2a5u) << "seed " << seed;
    EXPECT_TRUE(bits.ok()) << "seed " << seed;
  }
}

TEST(Bits, ARunOfBytesReadsWhatWasWrittenAndNothingBeyondTheRoom) {
  for (unsigned seed = 1; seed <= 400; ++seed) {
    std::mt19937_64 random(seed);
    const int k = static_cast<int>(seed % 8);
    std::vector<std::uint8_t> values(random() % 90);
    for (std::uint8_t& value : values)
      value = static_cast<std::uint8_t>(random() % 256 >> random() % 9);
    std::string out;
    {
      BitWriter bits(out);
      bits.bits(1, static_cast<int>(seed % 11));
      for (const std::uint8_t value : values) bits.golomb(value, k);
      bits.bits(0x2a5, 10);
    }
    BitReader bits(out);
    bits.bits(static_cast<int>(seed % 11));
    std::vector<std::uint8_t> back(values.size() + BitReader::kByteRoom + 4, 0xee);
    ASSERT_TRUE(bits.golomb_bytes(back.data(), values.size(), k)) << "seed " << seed;
    EXPECT_TRUE(std::equal(values.begin(), values.end(), back.begin())) << "seed " << seed;
    EXPECT_TRUE(std::all_of(back.end() - 4, back.end(), [](auto byte) { return byte == 0xee; }));
    EXPECT_EQ(bits.bits(10), 0x2a5u) << "seed " << seed;
    EXPECT_TRUE(bits.ok()) << "seed " << seed;
  }
}

TEST(Bits, ARunOfBytesSaysSoWhereOneIsLarger) {
  for (int k = 0; k < 8; ++k)
    for (std::size_t at = 0; at < 30; ++at)
      for (const std::uint64_t large : {255ULL, 256ULL, ~0ULL >> 9}) {
        std::string out;
        {
          BitWriter bits(out);
          for (std::size_t i = 0; i < 30; ++i) bits.golomb(i == at ? large : i % 4, k);
        }
        BitReader bits(out);
        std::vector<std::uint8_t> back(30 + BitReader::kByteRoom);
        EXPECT_EQ(bits.golomb_bytes(back.data(), 30, k), large < 256) << k << ", " << at;
      }
}

// Cut anywhere: a run stops where single codes stop, and says so.
TEST(Bits, ARunBeyondTheEndIsNotSound) {
  for (unsigned seed = 1; seed <= 60; ++seed) {
    std::mt19937_64 random(seed);
    const int k = static_cast<int>(seed % 8);
    const auto values = numbers(random, 40);
    std::string out;
    {
      BitWriter bits(out);
      for (const std::uint64_t value : values) bits.golomb(value, k);
    }
    for (std::size_t size = 0; size <= out.size(); ++size) {
      BitReader one(std::string_view(out).substr(0, size));
      BitReader run = one;
      std::vector<std::uint64_t> single(values.size()), back(values.size());
      for (std::uint64_t& value : single) value = one.golomb(k);
      run.golombs(back.data(), back.size(), k);
      ASSERT_EQ(back, single) << "seed " << seed << ", " << size << " bytes";
      ASSERT_EQ(run.ok(), one.ok()) << "seed " << seed << ", " << size << " bytes";
      if (size + 1 < out.size()) {
        ASSERT_FALSE(run.ok());
      }
      BitReader bytes(std::string_view(out).substr(0, size));
      std::vector<std::uint8_t> few(values.size() + BitReader::kByteRoom);
      const bool small = bytes.golomb_bytes(few.data(), values.size(), k);
      ASSERT_EQ(small, std::ranges::all_of(single, [](auto value) { return value < 256; }));
      if (!small) continue;
      ASSERT_TRUE(std::equal(single.begin(), single.end(), few.begin())) << "seed " << seed;
      ASSERT_EQ(bytes.ok(), one.ok()) << "seed " << seed << ", " << size << " bytes";
    }
  }
}

}  // namespace
}  // namespace fadeward::history::bits_test
