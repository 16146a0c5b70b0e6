#include "fadeward/framing/cobs.hpp"

#include <gtest/gtest.h>

#include <boost/crc.hpp>
#include <fstream>
#include <sstream>

#include "unit/framing/collect.hpp"

namespace fadeward::framing::cobs_test {
namespace {

using namespace std::string_literals;
using Crc = FramingSettings::Crc;
using Frames = std::vector<std::string>;

std::string from_hex(const std::string& text) {
  std::istringstream in(text);
  std::string out;
  for (std::string octet; in >> octet;) out.push_back(static_cast<char>(std::stoi(octet, {}, 16)));
  return out;
}

/// Written from the paper's description, apart from the decoder: fill a block, close it at a zero
/// or when it is full.
std::string encode(const std::string& plain) {
  std::string out, block;
  bool open = true;
  for (const char c : plain) {
    open = true;
    if (c != 0) block.push_back(c);
    if (c == 0 || block.size() == 254) {
      out.push_back(static_cast<char>(block.size() + 1));
      out += block;
      block.clear();
      open = c == 0;
    }
  }
  if (open) out += static_cast<char>(block.size() + 1) + block;
  return out;
}

bool decodes(const std::string& encoded, std::string* plain = nullptr) {
  std::vector<std::uint8_t> decoded;
  const bool ok = cobs_decode(octets(encoded), decoded);
  if (plain) plain->assign(decoded.begin(), decoded.end());
  return ok;
}

// tests/data/cobs_vectors.csv names its source in its first line.
TEST(Cobs, PublishedVectors) {
  std::ifstream file(FADEWARD_TEST_DATA "/cobs_vectors.csv");
  std::string line;
  int vectors = 0;
  while (std::getline(file, line)) {
    if (line.starts_with('#') || line.starts_with("plain_hex")) continue;
    const auto comma = line.find(',');
    const std::string plain = from_hex(line.substr(0, comma));
    const std::string encoded = from_hex(line.substr(comma + 1));
    std::string got;
    EXPECT_TRUE(decodes(encoded, &got)) << line;
    EXPECT_EQ(got, plain) << line;
    EXPECT_EQ(encode(plain), encoded) << line;  // the encoder that the other tests lean on
    CobsFramer framer(65536, Crc::none);
    EXPECT_EQ(feed_bytewise(framer, encoded + '\0').frames,
              plain.empty() ? Frames{} : Frames{plain});
    ++vectors;
  }
  EXPECT_EQ(vectors, 13);
}

// The decoding errors listed with the vectors.
TEST(Cobs, PublishedDecodeErrors) {
  EXPECT_FALSE(decodes(""));
  for (const char* bad : {"00", "05 31 32 33", "05 31 32 33 34 00", "05 31 32 00 34"})
    EXPECT_FALSE(decodes(from_hex(bad))) << bad;
}

TEST(Cobs, FillIsNoFrameAndNoDamage) {
  CobsFramer framer(100, Crc::none);
  const Collected got = feed_whole(framer, "\0\0\x01\0\0\x02x\0\0"s);
  EXPECT_EQ(got.frames, Frames{"x"});
  EXPECT_EQ(got.lost_bytes(), 0u);
}

TEST(Cobs, SplitEverywhereWithABrokenFrameBetween) {
  const std::string stream = encode("a\0b"s) + '\0' + "\x09xyz\0"s + encode("cd") + '\0';
  for (std::size_t at = 0; at <= stream.size(); ++at) {
    CobsFramer framer(100, Crc::none);
    const Collected got = feed_split(framer, stream, at);
    EXPECT_EQ(got.frames, (Frames{"a\0b"s, "cd"})) << "split at " << at;
    EXPECT_EQ(got[DiscardReason::encoding], 4u);
    EXPECT_EQ(got.lost_bytes(), 4u);
  }
}

TEST(Cobs, Checks) {
  // Check values of "123456789", little endian.
  const std::pair<Crc, std::string> kinds[] = {{Crc::crc16_x25, "\x6e\x90"},
                                               {Crc::crc16_ccitt_false, "\xb1\x29"},
                                               {Crc::crc32, "\x26\x39\xf4\xcb"}};
  for (const auto& [kind, check] : kinds) {
    CobsFramer framer(100, kind);
    const std::string good = encode("123456789" + check);
    std::string bad = good;
    bad[3] ^= 4;
    const Collected got = feed_whole(framer, bad + '\0' + good + '\0' + encode("x") + '\0');
    EXPECT_EQ(got.frames, Frames{"123456789"});
    EXPECT_EQ(got[DiscardReason::checksum], bad.size() + 2);
    EXPECT_EQ(got.lost_bytes(), bad.size() + 2);
  }
}

TEST(Cobs, LimitCountsContent) {
  const std::string whole(10, 'x'), longer(11, 'x'), endless(5000, 'x');
  CobsFramer framer(10, Crc::none);
  const Collected got = feed_bytewise(
      framer, encode(longer) + '\0' + encode(whole) + '\0' + endless + '\0' + encode(whole) + '\0');
  EXPECT_EQ(got.frames, (Frames{whole, whole}));
  EXPECT_EQ(got[DiscardReason::too_long], 12u + 5000);
  EXPECT_EQ(got.lost_bytes(), got[DiscardReason::too_long]);
}

TEST(Cobs, CutAtEveryLengthIsNoDamage) {
  const std::string plain = "12345\0006789"s;
  boost::crc_32_type crc;
  crc.process_bytes(plain.data(), plain.size());
  std::string checked = plain;
  for (unsigned shift = 0; shift < 32; shift += 8)
    checked.push_back(static_cast<char>(crc.checksum() >> shift));
  const std::string stream = encode(checked);
  for (std::size_t size = 0; size <= stream.size(); ++size) {
    CobsFramer framer(100, Crc::crc32);
    Collected got = feed_whole(framer, stream.substr(0, size));
    const bool complete = size == stream.size();
    EXPECT_EQ(framer.flush(got), complete ? 0 : size);
    EXPECT_EQ(got.frames, complete ? Frames{plain} : Frames{});
    EXPECT_EQ(got.lost_bytes(), 0u);
    got = feed_whole(framer, stream.substr(0, size));
    EXPECT_EQ(framer.reset(), size);
    EXPECT_EQ(feed_whole(framer, encode(checked) + '\0').frames, Frames{plain});
  }
}

TEST(Cobs, RandomFramesBetweenNoise) {
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    std::mt19937_64 random(seed);
    std::string stream;
    Frames sent;
    std::uint64_t delimiters = 0, sent_encoded = 0;
    for (int i = 0; i < 50; ++i) {
      const std::string plain = noise(1 + random() % 600, random);
      boost::crc_32_type crc;
      crc.process_bytes(plain.data(), plain.size());
      std::string checked = plain;
      for (unsigned shift = 0; shift < 32; shift += 8)
        checked.push_back(static_cast<char>(crc.checksum() >> shift));
      std::string junk = noise(random() % 50, random) + '\0';
      stream += junk + encode(checked) + '\0';
      sent_encoded += encode(checked).size();
      sent.push_back(plain);
    }
    delimiters = static_cast<std::uint64_t>(std::count(stream.begin(), stream.end(), '\0'));
    CobsFramer framer(700, Crc::crc32);
    const Collected got = feed_random(framer, stream, 1 + random() % 300, random);
    EXPECT_EQ(got.frames, sent);
    // Noise can be fill ("01" alone), which is not counted: never more than one octet a piece.
    const std::uint64_t accounted = sent_encoded + delimiters + got.lost_bytes();
    EXPECT_LE(accounted, stream.size());
    EXPECT_GE(accounted + 50 * 3, stream.size());
  }
}

TEST(Cobs, AMegabyteOfNoiseThenAGoodFrame) {
  std::mt19937_64 random(3);
  CobsFramer framer(1000, Crc::crc32);
  Collected got = feed_random(framer, noise(1 << 20, random) + '\0', 4096, random);
  EXPECT_EQ(got.frames.size(), 0u);  // a false one: odds of 4,000 pieces in 2^32
  const std::string good = encode("123456789\x26\x39\xf4\xcb") + '\0';
  framer.feed(octets(good), got);
  EXPECT_EQ(got.frames, Frames{"123456789"});
}

}  // namespace
}  // namespace fadeward::framing::cobs_test
