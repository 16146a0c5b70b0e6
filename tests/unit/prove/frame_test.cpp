#include "fadeward/prove/frame.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <boost/crc.hpp>

#include "fadeward/framing/cobs.hpp"

namespace fadeward::prove::frame_test {
namespace {

std::vector<std::uint8_t> wire(const Frame& frame, std::size_t size) {
  std::vector<std::uint8_t> out;
  append_frame(frame, size, out);
  return out;
}

/// Content with its check, as the paper on COBS has it decoded by `framing`.
std::vector<std::uint8_t> content_of(const std::vector<std::uint8_t>& octets) {
  std::vector<std::uint8_t> decoded;
  EXPECT_TRUE(framing::cobs_decode({octets.data() + 1, octets.size() - 2}, decoded));
  return decoded;
}

const Frame kEcho{FrameKind::echo, 0xA1B2C3D4, 70000,
                  {0x00FF0001, 69998, 2, 70001, 69998, 5, 7, 300000}};

TEST(Frame, ExactSizeOnTheWireWithoutZeroInside) {
  for (std::size_t size = kSmallestFrame; size <= 1500; ++size) {
    const auto octets = wire(kEcho, size);
    ASSERT_EQ(octets.size(), size);
    ASSERT_EQ(octets.front(), 0);
    ASSERT_EQ(octets.back(), 0);
    ASSERT_EQ(std::count(octets.begin(), octets.end(), 0), 2);
  }
  EXPECT_EQ(wire(kEcho, kLargestFrame).size(), kLargestFrame);
  EXPECT_EQ(wire(kEcho, 0).size(), kSmallestFrame);
  EXPECT_EQ(wire(kEcho, 1U << 20).size(), kLargestFrame);
}

// The layout as the header promises it, octet by octet, and the check by another library.
TEST(Frame, LayoutOnPaper) {
  const auto content = content_of(wire(kEcho, 64));
  ASSERT_EQ(content.size(), 61U);
  const std::vector<std::uint8_t> head{0x12, 0xD4, 0xC3, 0xB2, 0xA1, 0x70, 0x11, 0x01,   // 70000
                                       0x01, 0x00, 0xFF, 0x00, 0x6E, 0x11, 0x01,         // 69998
                                       0x02, 0x00, 0x00, 0x71, 0x11, 0x01,               // 70001
                                       0x6E, 0x11, 0x01, 0x05, 0x00, 0x00, 0x07, 0x00, 0x00,
                                       0xE0, 0x93, 0x04};                                // 300000
  EXPECT_TRUE(std::equal(head.begin(), head.end(), content.begin()));
  boost::crc_32_type crc;
  crc.process_bytes(content.data(), content.size() - 4);
  std::uint32_t check = 0;
  for (std::size_t i = 0; i < 4; ++i)
    check |= static_cast<std::uint32_t>(content[content.size() - 4 + i]) << (8 * i);
  EXPECT_EQ(check, crc.checksum());
}

TEST(Frame, ThereAndBack) {
  for (const std::size_t size : {std::size_t{40}, std::size_t{48}, std::size_t{700}}) {
    auto content = content_of(wire(kEcho, size));
    EXPECT_EQ(wire_size(content.size() - 4), size);
    const auto read =
        read_frame({reinterpret_cast<const char*>(content.data()), content.size() - 4});
    ASSERT_TRUE(read);
    EXPECT_EQ(*read, kEcho);
  }
}

TEST(Frame, NumbersSaturate) {
  Frame frame = kEcho;
  frame.far.corrupted = 0xFFFFFFFF;
  const auto content = content_of(wire(frame, 40));
  EXPECT_EQ(read_frame({reinterpret_cast<const char*>(content.data()), content.size() - 4})
                ->far.corrupted,
            0xFFFFFFU);
}

TEST(Frame, RefusesWhatIsNotOurs) {
  EXPECT_FALSE(read_frame(""));
  EXPECT_FALSE(read_frame(std::string(32, '\x11')));
  EXPECT_FALSE(read_frame(std::string(40, '\x10')));
  EXPECT_FALSE(read_frame(std::string(40, '\x15')));
  EXPECT_TRUE(read_frame(std::string(33, '\x11')));
}

}  // namespace
}  // namespace fadeward::prove::frame_test
