#include "fadeward/framing/framer.hpp"

#include <gtest/gtest.h>

#include "unit/framing/collect.hpp"

namespace fadeward::framing::framer_test {
namespace {

using Kind = FramingSettings::Kind;
using Frames = std::vector<std::string>;

TEST(MakeFramer, EachKindCutsItsOwnWay) {
  FramingSettings settings;
  EXPECT_EQ(feed_whole(**make_framer(settings), "a\nb\n").frames, (Frames{"a", "b"}));
  settings.block_end = "b";
  EXPECT_EQ(feed_whole(**make_framer(settings), "a\nb\n").frames, Frames{"a\nb"});
  settings = {};
  settings.kind = Kind::cobs;
  EXPECT_EQ(feed_whole(**make_framer(settings), bytes({3, 'h', 'i', 0})).frames, Frames{"hi"});
  settings.crc = FramingSettings::Crc::crc16_x25;
  EXPECT_EQ(feed_whole(**make_framer(settings), bytes({3, 'h', 'i', 0})).frames, Frames{});
  settings = {};
  settings.kind = Kind::hdlc;
  const std::string frame = "~123456789\x6e\x90~";  // check value of CRC-16/X-25
  EXPECT_EQ(feed_whole(**make_framer(settings), frame).frames, Frames{"123456789"});
}

TEST(MakeFramer, RefusesWhatMakesNoSense) {
  FramingSettings settings;
  settings.max_bytes = 0;
  EXPECT_FALSE(make_framer(settings));
  settings = {};
  settings.block_end = "[";
  EXPECT_FALSE(make_framer(settings));
  settings = {};
  settings.kind = Kind::hdlc;
  settings.block_end = "x";
  EXPECT_FALSE(make_framer(settings));
  settings = {};
  settings.crc = FramingSettings::Crc::crc32;
  EXPECT_FALSE(make_framer(settings));
}

// No framer may hold more than its limit, whatever it is fed.
TEST(MakeFramer, HoldsNoMoreThanItsLimit) {
  for (const Kind kind : {Kind::lines, Kind::cobs, Kind::hdlc}) {
    FramingSettings settings;
    settings.kind = kind;
    settings.max_bytes = 100;
    const auto made = make_framer(settings);
    Framer& framer = **made;
    std::mt19937_64 random(5);
    Collected got;
    for (int i = 0; i < 2000; ++i) {
      framer.feed(octets(std::string(random() % 90, 'u')), got);
      ASSERT_LE(framer.reset(), 204u);
      for (const auto& frame : got.frames) ASSERT_LE(frame.size(), 100u);
    }
  }
}

}  // namespace
}  // namespace fadeward::framing::framer_test
