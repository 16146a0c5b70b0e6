#include "fadeward/framing/hdlc.hpp"

#include <gtest/gtest.h>

#include <boost/crc.hpp>

#include "unit/framing/collect.hpp"

namespace fadeward::framing::hdlc_test {
namespace {

using namespace std::string_literals;
using Frames = std::vector<std::string>;

/// FCS-16 by Boost, escaping as RFC 1662 section 4.2 has it; every octet below 0x20 is escaped, as
/// with the default character map, where `map` says so.
std::string encode(const std::string& content, bool map = false) {
  boost::crc_optimal<16, 0x1021, 0xffff, 0xffff, true, true> fcs;
  fcs.process_bytes(content.data(), content.size());
  std::string plain = content;
  plain.push_back(static_cast<char>(fcs.checksum() & 0xff));
  plain.push_back(static_cast<char>(fcs.checksum() >> 8));
  std::string out = "~";
  for (const char c : plain) {
    if (c == '~' || c == '}' || (map && static_cast<unsigned char>(c) < 0x20)) {
      out += '}';
      out += static_cast<char>(c ^ 0x20);
    } else {
      out += c;
    }
  }
  return out + '~';
}

const std::string kLcp = bytes({0xff, 0x03, 0xc0, 0x21, 1, 1, 0, 4});

// Frame ff 03 c0 21 01 01 00 04 with FCS octets d1 b5 (RFC 1662 appendix C).
TEST(Hdlc, PublishedFrame) {
  HdlcFramer framer(100);
  const std::string stream =
      bytes({0x7e, 0xff, 0x03, 0xc0, 0x21, 0x01, 0x01, 0x00, 0x04, 0xd1, 0xb5, 0x7e});
  EXPECT_EQ(feed_whole(framer, stream).frames, Frames{kLcp});
}

// RFC 1662 section 4.2: 7e -> 7d 5e, 7d -> 7d 5d, 03 -> 7d 23, 11 -> 7d 31, 13 -> 7d 33,
// 91 -> 7d b1, 93 -> 7d b3.
TEST(Hdlc, PublishedEscapes) {
  const std::string content = bytes({0x7e, 0x7d, 0x03, 0x11, 0x13, 0x91, 0x93});
  boost::crc_optimal<16, 0x1021, 0xffff, 0xffff, true, true> fcs;
  fcs.process_bytes(content.data(), content.size());
  const std::string stream = bytes({0x7e,
                                    0x7d,
                                    0x5e,
                                    0x7d,
                                    0x5d,
                                    0x7d,
                                    0x23,
                                    0x7d,
                                    0x31,
                                    0x7d,
                                    0x33,
                                    0x7d,
                                    0xb1,
                                    0x7d,
                                    0xb3,
                                    0x7d,
                                    static_cast<int>((fcs.checksum() & 0xff) ^ 0x20),
                                    0x7d,
                                    static_cast<int>((fcs.checksum() >> 8) ^ 0x20),
                                    0x7e});
  HdlcFramer framer(100);
  EXPECT_EQ(feed_bytewise(framer, stream).frames, Frames{content});
}

TEST(Hdlc, OneFlagBetweenTwoFrames) {
  HdlcFramer framer(100);
  std::string stream = encode("first");
  stream += encode("second").substr(1);
  stream += "~~~" + encode("third");
  const Collected got = feed_whole(framer, stream);
  EXPECT_EQ(got.frames, (Frames{"first", "second", "third"}));
  EXPECT_EQ(got.lost_bytes(), 0u);
}

TEST(Hdlc, EveryKindOfDamageSplitEverywhere) {
  std::string wrong = encode("wrong");
  wrong[2] ^= 1;
  const std::string stream = "garbage" + encode("one") + "abc~" + wrong + "xyz}~" + encode("two") +
                             std::string(60, 'L') + "~" + encode("three");
  for (std::size_t at = 0; at <= stream.size(); ++at) {
    SCOPED_TRACE("split at " + std::to_string(at));
    HdlcFramer framer(20);
    const Collected got = feed_split(framer, stream, at);
    EXPECT_EQ(got.frames, (Frames{"one", "two", "three"}));
    EXPECT_EQ(got[DiscardReason::garbage], 7u + 3);  // before the first flag; below four octets
    EXPECT_EQ(got[DiscardReason::checksum], 7u);
    EXPECT_EQ(got[DiscardReason::aborted], 4u);
    EXPECT_EQ(got[DiscardReason::too_long], 60u);
  }
}

TEST(Hdlc, AnEscapedEscapeBeforeTheFlagIsNoAbort) {
  // 7d 7d stands for 5d: the flag after it ends a frame (here one with a wrong check).
  HdlcFramer framer(20);
  const Collected got = feed_whole(framer, "~abcd}}~");
  EXPECT_EQ(got[DiscardReason::checksum], 6u);
  EXPECT_EQ(got[DiscardReason::aborted], 0u);
}

TEST(Hdlc, GarbageWithoutAFlagIsBoundedAndCounted) {
  HdlcFramer framer(20);
  Collected got;
  for (int i = 0; i < 100; ++i) framer.feed(octets("no flag in here "), got);
  framer.feed(octets(encode("x1")), got);
  EXPECT_EQ(got.frames, Frames{"x1"});
  EXPECT_EQ(got[DiscardReason::garbage], 1600u);
  EXPECT_EQ(got.lost_bytes(), 1600u);
}

TEST(Hdlc, LimitCountsContentAfterUnescaping) {
  const std::string flags(10, '~');
  HdlcFramer framer(10);
  const Collected got = feed_whole(framer, encode(flags) + encode(std::string(11, 'a')));
  EXPECT_EQ(got.frames, Frames{flags});
  EXPECT_EQ(got[DiscardReason::too_long], 13u);
}

TEST(Hdlc, CutAtEveryLengthIsNoDamage) {
  const std::string stream = encode("content with a ~ and a }");
  for (std::size_t size = 0; size < stream.size(); ++size) {
    HdlcFramer framer(100);
    Collected got = feed_whole(framer, stream.substr(0, size));
    EXPECT_EQ(got.frames.size(), 0u);
    const bool complete = size == stream.size() - 1;
    const std::size_t tail = framer.flush(got);
    EXPECT_EQ(got.frames.size(), complete ? 1u : 0u) << size;
    EXPECT_EQ(tail, complete || size == 0 ? 0 : size - 1);
    EXPECT_EQ(got.lost_bytes(), 0u);
    EXPECT_EQ(feed_whole(framer, encode("next")).frames, Frames{"next"});
  }
}

TEST(Hdlc, RandomFramesBetweenNoise) {
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    std::mt19937_64 random(seed);
    std::string stream;
    Frames sent;
    std::uint64_t encoded = 0, flags = 0;
    for (int i = 0; i < 50; ++i) {
      sent.push_back(noise(2 + random() % 300, random));
      std::string junk = noise(random() % 30, random);
      std::erase(junk, '~');
      const std::string frame = encode(sent.back(), random() % 2 == 0);
      stream += junk + frame;
      encoded += frame.size() - 2;
      flags += 2;
    }
    HdlcFramer framer(400);
    const Collected got = feed_random(framer, stream, 1 + random() % 200, random);
    EXPECT_EQ(got.frames, sent);
    EXPECT_EQ(encoded + flags + got.lost_bytes(), stream.size());
  }
}

TEST(Hdlc, AMegabyteOfNoiseThenAGoodFrame) {
  std::mt19937_64 random(7);
  HdlcFramer framer(1000);
  Collected got = feed_random(framer, noise(1 << 20, random) + '~', 4096, random);
  const std::size_t false_frames = got.frames.size();
  EXPECT_LT(false_frames, 4u);  // 4,000 pieces against 2^16
  framer.feed(octets(encode("good")), got);
  ASSERT_EQ(got.frames.size(), false_frames + 1);
  EXPECT_EQ(got.frames.back(), "good");
}

}  // namespace
}  // namespace fadeward::framing::hdlc_test
