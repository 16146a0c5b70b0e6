#include "fadeward/report/packed.hpp"

#include <cmath>

#include "unit/report/collect.hpp"

namespace fadeward::report::packed_test {
namespace {

using namespace std::string_literals;

TEST(Packed, EveryTypeInBothOrders) {
  using enum PackedType;
  struct Case {
    PackedType type;
    std::string little;  // the bytes as they stand in a little-endian frame
    double value;
  };
  // Two's complement and IEEE 754 by hand: -2 and their like; 1.5f = 3fc00000; -2.5 = c004...
  const Case cases[] = {{u8, "\xfe", 254},
                        {i8, "\xfe", -2},
                        {u16, "\x34\x12", 0x1234},
                        {i16, "\xfe\xff", -2},
                        {u24, "\x56\x34\x12", 0x123456},
                        {i24, "\xfe\xff\xff", -2},
                        {u32, "\x78\x56\x34\x92", 0x92345678u},
                        {i32, "\xfe\xff\xff\xff", -2},
                        {u64, "\x00\x00\x00\x00\x00\x00\x00\x80"s, 9223372036854775808.0},
                        {i64, "\xfe\xff\xff\xff\xff\xff\xff\xff", -2},
                        {f32, "\x00\x00\xc0\x3f"s, 1.5},
                        {f64, "\x00\x00\x00\x00\x00\x00\x04\xc0"s, -2.5}};
  for (const Case& c : cases) {
    ASSERT_EQ(packed_size(c.type), c.little.size());
    EXPECT_EQ(read_packed(c.little, c.type, false).number, c.value);
    const std::string big(c.little.rbegin(), c.little.rend());
    EXPECT_EQ(read_packed(big, c.type, true).number, c.value);
  }
}

DecoderSettings settings() {
  DecoderSettings out;
  out.kind = DecoderKind::packed;
  out.packed = {{"link", 0, PackedType::u16, true},
                {"time", 2, PackedType::u32, false},
                {"level", 6, PackedType::u8, false},
                {"status", 7, PackedType::u8, false},
                {"supply_v", 8, PackedType::f32, true}};
  out.fields = {{"rssi_dbm", {"level", -0.5, 0, {}}},
                {"channel", {"status", 1, 0, std::pair(2, 6)}}};
  return out;
}

const std::string kFrame = "\x01\x02\x00\x01\x02\x03\xc9\xff\x41\x48\x00\x00"s;

TEST(Packed, AFrame) {
  const Kept report = only(decode(settings(), kFrame));
  EXPECT_EQ(report.link, "258");
  EXPECT_EQ(report.unix_s(), 0x03020100);
  EXPECT_EQ(report[Field::rssi_dbm], -100.5);
  EXPECT_EQ(report[Field::channel], 63);
  EXPECT_EQ(report[Field::supply_v], 12.5);
}

TEST(Packed, ShortFramesAreRefusedOrPartlyRead) {
  for (std::size_t size = 0; size < kFrame.size(); ++size)
    EXPECT_EQ(decode(settings(), kFrame.substr(0, size)).rejects.at(0), RejectReason::syntax);
  DecoderSettings tolerant = settings();
  tolerant.packed_min_bytes = 7;
  EXPECT_EQ(decode(tolerant, kFrame.substr(0, 6)).rejects.size(), 1u);
  for (std::size_t size = 7; size < kFrame.size(); ++size)
    EXPECT_FALSE(only(decode(tolerant, kFrame.substr(0, size))).has(Field::supply_v));
  EXPECT_EQ(only(decode(settings(), kFrame + "more"))[Field::supply_v], 12.5);
}

TEST(Packed, NaNAndInfinityAreLeftOut) {
  for (const std::string& bad : {"\x7f\xc0\x00\x00"s, "\x7f\x80\x00\x00"s, "\xff\x80\x00\x00"s}) {
    const Collected got = decode(settings(), kFrame.substr(0, 8) + bad);
    EXPECT_FALSE(only(got).has(Field::supply_v));
    EXPECT_EQ(got.discarded, 1u);
  }
}

TEST(Packed, AnUnknownFieldIsAnError) {
  DecoderSettings wrong = settings();
  wrong.packed.push_back({"colour", 0, PackedType::u8, false});
  const auto made = make_decoder(wrong);
  ASSERT_FALSE(made);
  EXPECT_NE(made.error().message.find("colour"), std::string::npos);
}

}  // namespace
}  // namespace fadeward::report::packed_test
