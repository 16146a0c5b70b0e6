#include "fadeward/report/json.hpp"

#include "unit/report/collect.hpp"

namespace fadeward::report::json_test {
namespace {

DecoderSettings settings(std::map<std::string, FieldRule> fields) {
  DecoderSettings out;
  out.kind = DecoderKind::json;
  out.fields = std::move(fields);
  return out;
}

TEST(JsonDecoder, RulesScaleShiftAndTakeBits) {
  const auto rules = settings({{"rssi_dbm", {"s", 0.5, -160, {}}},
                               {"channel", {"status", 1, 1, std::pair(4, 6)}},
                               {"spreading_factor", {"status", 1, 5, std::pair(0, 3)}},
                               {"time", {"ms", 0.001, 0, {}}},
                               {"link", {"node", 1, 0, {}}}});
  const Collected got =
      decode(rules, R"({"ms":1893456000250,"node":7,"s":118,"status":423,"snr_db":6.5,"x":1})");
  const Kept report = only(got);
  EXPECT_EQ(report.unix_s(), 1893456000.25);
  EXPECT_EQ(report.link, "7");
  EXPECT_EQ(report[Field::rssi_dbm], -101);        // 118 / 2 - 160
  EXPECT_EQ(report[Field::channel], 27);           // 423 = 0b01'1010'0111: bits 4..9 are 26
  EXPECT_EQ(report[Field::spreading_factor], 12);  // bits 0..2 are 7
  EXPECT_EQ(report[Field::snr_db], 6.5);
  EXPECT_EQ(got.unknown, 1u);
  EXPECT_EQ(got.discarded, 0u);
}

TEST(JsonDecoder, NestedMembersByPath) {
  const auto rules =
      settings({{"rssi_dbm", {"radio.rx.level", 1, 0, {}}}, {"link", {"device.name", 1, 0, {}}}});
  const Collected got = decode(
      rules,
      R"({"device":{"id":5,"name":"a\"b"},"radio":{"rx":{"level":-90,"more":[1,2]},"tx":{"level":1}}})");
  const Kept report = only(got);
  EXPECT_EQ(report[Field::rssi_dbm], -90);
  EXPECT_EQ(report.link, "a\"b");
  EXPECT_EQ(got.unknown, 3u);  // device.id, radio.rx.more, radio.tx
}

TEST(JsonDecoder, TextThatIsANumberIsOne) {
  const Collected got = decode(settings({{"rssi_dbm", {"rssi", 1, 0, {}}}}),
                               R"({"rssi":"-101","snr_db":"4 dB","seq":"","channel":"12"})");
  const Kept report = only(got);
  EXPECT_EQ(report[Field::rssi_dbm], -101);
  EXPECT_EQ(report[Field::channel], 12);
  EXPECT_FALSE(report.has(Field::snr_db));
  EXPECT_FALSE(report.has(Field::seq));
  EXPECT_EQ(got.discarded, 1u);
}

TEST(JsonDecoder, BitsNeedAWholeNumber) {
  const auto rules = settings({{"channel", {"status", 1, 0, std::pair(0, 4)}}});
  EXPECT_EQ(decode(rules, R"({"status":1.5,"seq":1})").discarded, 1u);
  EXPECT_EQ(only(decode(rules, R"({"status":-1})"))[Field::channel], 15);
}

TEST(JsonDecoder, AsStrictAsTheCanonicalParser) {
  const auto decoder = made(settings({{"rssi_dbm", {"r", 1, 0, {}}}}));
  for (const char* bad :
       {"", "{", "[]", R"({"r":01})", R"({"r":1,})", R"({"r":1}x)", R"({"r":NaN})", R"({"r":+1})",
        R"({"r":"\ud800"})", "{\"r\":\"\xff\"}", R"({"a":[1,],"r":1})", R"({"link":1.5,"r":1})",
        R"({"link":{},"r":1})", R"({"link":true,"r":1})"}) {
    const Collected got = decode(*decoder, bad);
    ASSERT_EQ(got.rejects.size(), 1u) << bad;
    EXPECT_EQ(got.rejects[0], RejectReason::syntax) << bad;
  }
  EXPECT_EQ(decode(*decoder, "{}").rejects.at(0), RejectReason::empty);
  EXPECT_EQ(decode(*decoder, R"({"r":500})").rejects.at(0), RejectReason::implausible);
  EXPECT_EQ(decode(*decoder, R"({"r":1e999,"seq":1})").discarded, 1u);
  EXPECT_EQ(decode(*decoder, R"({"r":-5,"r":null})").rejects.at(0), RejectReason::empty);
}

TEST(JsonDecoder, CutAtEveryLength) {
  const std::string whole =
      R"({"device":{"name":"a\n"},"r":{"x":-90.25},"t":"2031-03-01T12:00:00Z"})";
  const auto decoder = made(settings({{"rssi_dbm", {"r.x", 1, 0, {}}}, {"time", {"t", 1, 0, {}}}}));
  for (std::size_t size = 0; size < whole.size(); ++size)
    EXPECT_EQ(decode(*decoder, whole.substr(0, size)).rejects.size(), 1u) << size;
  EXPECT_EQ(only(decode(*decoder, whole))[Field::rssi_dbm], -90.25);
}

}  // namespace
}  // namespace fadeward::report::json_test
