#include "fadeward/publish/write_request.hpp"

#include <gtest/gtest.h>
#include <snappy.h>

#include <cmath>
#include <random>
#include <string>

namespace fadeward::publish::write_request_test {
namespace {

std::string bytes(std::initializer_list<int> all) {
  std::string out;
  for (const int each : all) out += static_cast<char>(each);
  return out;
}

// Protocol Buffers encoding, developers' guide: the worked example 150 is the varint 96 01; keys are
// field << 3 | type. Labels and samples are fields 1 and 2 of TimeSeries, name and value (timestamp)
// fields 1 and 2 of Label (Sample): prometheus/prompb/types.proto.
TEST(WriteRequest, BytesAreThoseOfTheEncodingGuide) {
  std::string labels;
  const WriteLabel up[] = {{"__name__", "up"}};
  append_labels(labels, up);
  EXPECT_EQ(labels, bytes({0x0a, 14, 0x0a, 8}) + "__name__" + bytes({0x12, 2}) + "up");
  WriteRequestBuilder request;
  const WriteSample one{1.0, 150};
  request.add(labels, {&one, 1});
  EXPECT_EQ(request.message(), bytes({0x0a, 16 + 14}) + labels + bytes({0x12, 12, 0x09}) +
                                   bytes({0, 0, 0, 0, 0, 0, 0xf0, 0x3f}) + bytes({0x10, 0x96, 0x01}));
}

TEST(WriteRequest, EmptyValuesAreLeftOut) {
  std::string labels;
  const WriteLabel some[] = {{"__name__", "x"}, {"cause", ""}, {"link", "weir"}};
  append_labels(labels, some);
  EXPECT_EQ(labels.find("cause"), std::string::npos);
  EXPECT_NE(labels.find("weir"), std::string::npos);
}

TEST(WriteRequest, LongTextsAndTimesBeforeTheEpochTakeMoreBytes) {
  std::string labels;
  const std::string name(300, 'n');
  const WriteLabel some[] = {{"__name__", name}};
  append_labels(labels, some);
  // 1 + 2 + (1+1+8) + (1+2+300)
  EXPECT_EQ(labels.size(), 316U);
  EXPECT_EQ(labels.substr(0, 3), bytes({0x0a, (313 & 0x7f) | 0x80, 313 >> 7}));
  WriteRequestBuilder request;
  const WriteSample before{0, -1};   // int64 of protobuf: ten bytes
  request.add("", {&before, 1});
  EXPECT_EQ(request.message().substr(request.message().size() - 10), bytes({255, 255, 255, 255, 255, 255, 255, 255, 255, 1}));
}

// Specification, "Stale markers".
TEST(WriteRequest, TheStaleMarkerIsAParticularNaN) {
  EXPECT_TRUE(std::isnan(kStaleMarker));
  WriteRequestBuilder request;
  const WriteSample end{kStaleMarker, 0};
  request.add("", {&end, 1});
  EXPECT_NE(request.message().find(bytes({0x02, 0, 0, 0, 0, 0, 0xf0, 0x7f})), std::string::npos);
}

TEST(WriteRequest, CompressesToASnappyBlock) {
  WriteRequestBuilder request;
  std::string labels;
  const WriteLabel up[] = {{"__name__", "up"}};
  append_labels(labels, up);
  for (int i = 0; i < 1000; ++i) {
    const WriteSample one{1.0 * i, i};
    request.add(labels, {&one, 1});
  }
  std::string back;
  const std::string compressed = request.compressed();
  ASSERT_TRUE(snappy::Uncompress(compressed.data(), compressed.size(), &back));
  EXPECT_EQ(back, request.message());
  request.clear();
  EXPECT_TRUE(request.message().empty());
}

TEST(WriteRequest, MillisecondsAreCutDown) {
  EXPECT_EQ(to_milliseconds(Time{std::chrono::microseconds{1999}}), 1);
  EXPECT_EQ(to_milliseconds(Time{std::chrono::microseconds{-1}}), -1);
}

TEST(RoundedForTransport, KeepsWholeNumbersAndMovesOthersByLittle) {
  std::mt19937 random(4711);   // the seed is fixed: said here, not printed
  for (int i = 0; i < 100000; ++i) {
    const double whole = static_cast<double>(random());
    EXPECT_EQ(rounded_for_transport(whole), whole);
    const double level = -std::uniform_real_distribution<double>(0.1, 150)(random);
    const double sent = rounded_for_transport(level);
    EXPECT_LE(std::abs(sent - level), 1.0 / 128) << level;
    EXPECT_LE(std::abs(sent - level), std::abs(level) / 4096) << level;
    const double seconds = 1.9e9 + std::uniform_real_distribution<double>(0, 1e6)(random);
    EXPECT_LE(std::abs(rounded_for_transport(seconds) - seconds), 1.0 / 128);
  }
  EXPECT_EQ(rounded_for_transport(0), 0);
  EXPECT_EQ(rounded_for_transport(0x1p53 + 2), 0x1p53 + 2);
  EXPECT_EQ(rounded_for_transport(1e300), 1e300);
  EXPECT_TRUE(std::isinf(rounded_for_transport(HUGE_VAL)));
  EXPECT_TRUE(std::isfinite(rounded_for_transport(5e-324)));
}

}  // namespace
}  // namespace fadeward::publish::write_request_test
