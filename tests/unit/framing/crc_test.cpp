#include "fadeward/framing/crc.hpp"

#include <gtest/gtest.h>
#include <boost/crc.hpp>

#include "unit/framing/collect.hpp"

namespace fadeward::framing::crc_test {
namespace {

using Crc = FramingSettings::Crc;

// The check values of the catalogue of parametrised CRC algorithms.
TEST(Crc, CheckValues) {
  const auto digits = octets("123456789");
  EXPECT_EQ(crc16_x25(digits), 0x906e);
  EXPECT_EQ(crc16_ccitt_false(digits), 0x29b1);
  EXPECT_EQ(crc32(digits), 0xcbf43926u);
}

TEST(Crc, NothingAtAll) {
  EXPECT_EQ(crc16_x25({}), 0x0000);
  EXPECT_EQ(crc16_ccitt_false({}), 0xffff);
  EXPECT_EQ(crc32({}), 0u);
}

// An LCP frame as in RFC 1662; FCS computed by its appendix C register (0xb5d1).
TEST(Crc, LcpFrame) {
  EXPECT_EQ(crc16_x25(octets(bytes({0xff, 0x03, 0xc0, 0x21, 1, 1, 0, 4}))), 0xb5d1);
}

TEST(Crc, EqualsBoostOnRandomBytes) {
  std::mt19937_64 random(11);
  for (int round = 0; round < 300; ++round) {
    const std::string text = noise(random() % 600, random);
    boost::crc_optimal<16, 0x1021, 0xffff, 0xffff, true, true> x25;
    boost::crc_optimal<16, 0x1021, 0xffff, 0, false, false> ccitt;
    boost::crc_32_type ethernet;
    x25.process_bytes(text.data(), text.size());
    ccitt.process_bytes(text.data(), text.size());
    ethernet.process_bytes(text.data(), text.size());
    ASSERT_EQ(crc16_x25(octets(text)), x25.checksum()) << "seed 11, round " << round;
    ASSERT_EQ(crc16_ccitt_false(octets(text)), ccitt.checksum()) << "seed 11, round " << round;
    ASSERT_EQ(crc32(octets(text)), ethernet.checksum()) << "seed 11, round " << round;
  }
}

TEST(Crc, MatchesLittleEndianAtTheEnd) {
  EXPECT_TRUE(crc_matches(Crc::none, {}));
  EXPECT_TRUE(crc_matches(Crc::crc16_x25, octets("123456789\x6e\x90")));
  EXPECT_FALSE(crc_matches(Crc::crc16_x25, octets("123456789\x90\x6e")));
  EXPECT_TRUE(crc_matches(Crc::crc16_ccitt_false, octets("123456789\xb1\x29")));
  EXPECT_TRUE(crc_matches(Crc::crc32, octets("123456789\x26\x39\xf4\xcb")));
  EXPECT_FALSE(crc_matches(Crc::crc32, octets("\x26\x39\xf4")));
  EXPECT_FALSE(crc_matches(Crc::crc16_x25, octets("1")));
}

}  // namespace
}  // namespace fadeward::framing::crc_test
