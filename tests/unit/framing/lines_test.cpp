#include "fadeward/framing/lines.hpp"

#include <gtest/gtest.h>

#include "unit/framing/collect.hpp"

namespace fadeward::framing::lines_test {
namespace {

using namespace std::string_literals;
using Frames = std::vector<std::string>;

std::unique_ptr<LineFramer> lines(std::size_t max_bytes = 65536, const std::string& end = {}) {
  return std::move(LineFramer::make(max_bytes, end)).value();
}

struct Case {
  const char* what;
  std::string stream;
  Frames frames;
  std::uint64_t too_long = 0;
  std::size_t held = 0;
};

const Case kCases[] = {
    {"nothing", "", {}},
    {"LF", "a\nbc\n", {"a", "bc"}},
    {"CR LF", "a\r\nbc\r\n", {"a", "bc"}},
    {"CR", "a\rbc\r", {"a", "bc"}},
    {"all three", "a\nb\r\nc\rd\n", {"a", "b", "c", "d"}},
    {"empty lines of every kind", "\n\r\n\r\ra\n\n\r\r\nb\n\n", {"a", "b"}},
    {"LF CR is a line and an empty one", "a\n\rb\n\r", {"a", "b"}},
    {"unfinished", "a\nbc", {"a"}, 0, 2},
    {"NUL and bytes that are no UTF-8", "a\0b\n\xff\xfe\n"s, {"a\0b"s, "\xff\xfe"}},
    {"exactly the limit", "12345678\nx\n", {"12345678", "x"}},
    {"one above the limit", "123456789\nx\n", {"x"}, 9},
    {"far above the limit", std::string(1000, 'y') + "\r\nx\n", {"x"}, 1000},
    {"above the limit and unfinished", "x\n" + std::string(20, 'y'), {"x"}, 20},
};

TEST(Lines, TableWholeBytewiseAndSplitEverywhere) {
  for (const Case& c : kCases) {
    SCOPED_TRACE(c.what);
    Collected expected;
    expected.frames = c.frames;
    expected.lost[static_cast<std::size_t>(DiscardReason::too_long)] = c.too_long;
    const auto framer = lines(8);
    EXPECT_EQ(feed_whole(*framer, c.stream), expected);
    EXPECT_EQ(framer->reset(), c.held);
    EXPECT_EQ(feed_bytewise(*framer, c.stream), expected);
    EXPECT_EQ(framer->reset(), c.held);
    for (std::size_t at = 0; at <= c.stream.size(); ++at) {
      EXPECT_EQ(feed_split(*framer, c.stream, at), expected) << "split at " << at;
      EXPECT_EQ(framer->reset(), c.held) << "split at " << at;
    }
  }
}

TEST(Lines, ALineEndingInCrIsGivenOutWithoutWaiting) {
  const auto framer = lines();
  EXPECT_EQ(feed_whole(*framer, "abc\r").frames, Frames{"abc"});
  EXPECT_EQ(feed_whole(*framer, "\n").frames, Frames{});
  EXPECT_EQ(feed_whole(*framer, "d\n").frames, Frames{"d"});
}

TEST(Lines, AFrameInsideTheChunkIsNotCopied) {
  struct Where final : FrameSink {
    const char* at = nullptr;
    void frame(std::string_view bytes) override { at = bytes.data(); }
    void discarded(DiscardReason, std::uint64_t) override {}
  } sink;
  const std::string chunk = "\nabc\n";
  lines()->feed(octets(chunk), sink);
  EXPECT_EQ(sink.at, chunk.data() + 1);
}

TEST(Lines, EndOfInputMakesAFrameHangUpDoesNot) {
  const auto framer = lines();
  Collected got = feed_whole(*framer, "a\nb");
  EXPECT_EQ(framer->flush(got), 0u);
  EXPECT_EQ(got.frames, (Frames{"a", "b"}));
  got = feed_whole(*framer, "a\nbcd");
  EXPECT_EQ(framer->reset(), 3u);
  EXPECT_EQ(framer->flush(got), 0u);
  EXPECT_EQ(got.frames, Frames{"a"});
  EXPECT_EQ(got.lost_bytes(), 0u);
}

TEST(Lines, ANewStreamDoesNotInheritTheOldOnesState) {
  const auto framer = lines(4);
  Collected got = feed_whole(*framer, "a\r");
  framer->reset();
  got = feed_whole(*framer, "\nb\n");
  EXPECT_EQ(got.frames, Frames{"b"});
  feed_whole(*framer, "endless");
  framer->reset();
  EXPECT_EQ(feed_whole(*framer, "c\n").frames, Frames{"c"});
}

TEST(Lines, AnEndlessLineIsCountedWhileItRuns) {
  const auto framer = lines(100);
  Collected got;
  for (int i = 0; i < 1000; ++i) framer->feed(octets(std::string(77, 'z')), got);
  EXPECT_EQ(got[DiscardReason::too_long], 77000u);
  framer->feed(octets("\nok\n"), got);
  EXPECT_EQ(got.frames, Frames{"ok"});
  EXPECT_EQ(got[DiscardReason::too_long], 77000u);
}

TEST(Lines, CutAtEveryLength) {
  const std::string stream = "first\r\nsecond\nthird\r";
  for (std::size_t size = 0; size <= stream.size(); ++size) {
    const auto framer = lines();
    Collected got = feed_whole(*framer, stream.substr(0, size));
    const std::size_t held = framer->reset();
    EXPECT_EQ(got.lost_bytes(), 0u);
    const std::size_t ends = static_cast<std::size_t>(
        std::count_if(stream.begin(), stream.begin() + static_cast<std::ptrdiff_t>(size),
                      [](char c) { return c == '\r' || c == '\n'; }));
    EXPECT_EQ(got.frame_bytes() + held + ends, size);
  }
}

// Every byte is part of a line, a line end, held, or counted; and a good line after noise is found.
TEST(Lines, NoiseIsAccountedForToTheByte) {
  for (std::uint64_t seed = 1; seed <= 5; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    std::mt19937_64 random(seed);
    std::string stream = noise(1 << 20, random) + "\n";
    const auto ends = static_cast<std::uint64_t>(
        std::count_if(stream.begin(), stream.end(), [](char c) { return c == '\r' || c == '\n'; }));
    const auto framer = lines(300);
    Collected got = feed_random(*framer, stream, 5000, random);
    EXPECT_EQ(got.frame_bytes() + got.lost_bytes() + ends, stream.size());
    EXPECT_GT(got[DiscardReason::too_long], 0u);
    framer->feed(octets("good\n"), got);
    EXPECT_EQ(got.frames.back(), "good");
  }
}

TEST(Lines, RandomLinesSurviveRandomSplits) {
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    std::mt19937_64 random(seed);
    Frames sent;
    std::string stream;
    for (int i = 0; i < 100; ++i) {
      std::string line = noise(random() % 40, random);
      std::erase_if(line, [](char c) { return c == '\r' || c == '\n'; });
      stream += line;
      const auto kind = random() % 3;
      stream += kind == 0 ? "\n" : kind == 1 ? "\r\n" : "\r";
      if (!line.empty()) sent.push_back(line);
    }
    const auto framer = lines();
    ASSERT_EQ(feed_random(*framer, stream, 1 + random() % 100, random).frames, sent)
        << "seed " << seed;
  }
}

TEST(Blocks, LinesAreJoinedUpToTheOneThatMatches) {
  const std::string stream = "RSSI -90\r\nSNR 7\r\n\r\nOK\r\nRSSI -91\nOK\n";
  for (std::size_t at = 0; at <= stream.size(); ++at) {
    const auto framer = lines(100, "^OK$");
    EXPECT_EQ(feed_split(*framer, stream, at).frames,
              (Frames{"RSSI -90\nSNR 7\nOK", "RSSI -91\nOK"}));
  }
}

TEST(Blocks, AnEmptyLineCanEndABlock) {
  const auto framer = lines(100, "^$");
  EXPECT_EQ(feed_whole(*framer, "\n\na\nb\n\n\nc\n\n").frames, (Frames{"a\nb", "c"}));
}

TEST(Blocks, TooLongIsDroppedUpToAndWithItsEnd) {
  const std::string stream = "aaaa\nbbbb\ncccc\ndd\nEND\nx\nEND\n";
  for (std::size_t at = 0; at <= stream.size(); ++at) {
    const auto framer = lines(10, "END");
    const Collected got = feed_split(*framer, stream, at);
    EXPECT_EQ(got.frames, Frames{"x\nEND"});
    EXPECT_EQ(got[DiscardReason::too_long], 4u + 1 + 4 + 4 + 2 + 3) << "split at " << at;
  }
}

TEST(Blocks, ALineTooLongSpoilsItsBlockOnly) {
  const std::string stream = "a\n" + std::string(50, 'l') + "\nb\nEND\nx\nEND\n";
  for (std::size_t at = 0; at <= stream.size(); ++at) {
    const auto framer = lines(10, "END");
    const Collected got = feed_split(*framer, stream, at);
    EXPECT_EQ(got.frames, Frames{"x\nEND"}) << "split at " << at;
    EXPECT_EQ(got[DiscardReason::too_long], 1u + 50 + 1 + 3) << "split at " << at;
  }
}

TEST(Blocks, ABlockThatOverflowsInItsLastLineDoesNotTakeTheNext) {
  const auto framer = lines(6, "END");
  const Collected got = feed_whole(*framer, "abcde\nEND\nx\nEND\n");
  EXPECT_EQ(got.frames, Frames{"x\nEND"});
  EXPECT_EQ(got[DiscardReason::too_long], 8u);
}

TEST(Blocks, AnUnfinishedBlockAtTheEndIsAFrame) {
  const auto framer = lines(100, "END");
  Collected got = feed_whole(*framer, "a\nEND\nb\nc");
  EXPECT_EQ(framer->flush(got), 0u);
  EXPECT_EQ(got.frames, (Frames{"a\nEND", "b\nc"}));
  got = feed_whole(*framer, "b\nc");
  EXPECT_EQ(framer->reset(), 2u);
  EXPECT_EQ(feed_whole(*framer, "END\n").frames, Frames{"END"});
}

TEST(Blocks, ABadExpressionSaysWhy) {
  const auto made = LineFramer::make(100, "(unclosed");
  ASSERT_FALSE(made);
  EXPECT_NE(made.error().message.find("(unclosed"), std::string::npos);
  EXPECT_NE(made.error().message.find("missing"), std::string::npos);
}

}  // namespace
}  // namespace fadeward::framing::lines_test
