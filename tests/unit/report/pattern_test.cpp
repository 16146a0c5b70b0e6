#include "fadeward/report/pattern.hpp"

#include "unit/report/collect.hpp"

namespace fadeward::report::pattern_test {
namespace {

using namespace std::string_literals;

DecoderSettings settings(std::vector<std::string> patterns,
                         std::map<std::string, FieldRule> fields = {}) {
  DecoderSettings out;
  out.kind = DecoderKind::pattern;
  out.patterns = std::move(patterns);
  out.fields = std::move(fields);
  return out;
}

TEST(Pattern, NamedGroupsFeedKeys) {
  const auto rules = settings(
      {R"(^t=(?P<time>\S+) from (?P<link>\S+) S=(?P<s>\d+) (?P<other>\w+) N=(?P<noise_dbm>-?\d+)$)"},
      {{"rssi_dbm", {"s", 0.5, -160, {}}}});
  const Collected got = decode(rules, "t=2031-03-01T12:00:00Z from weir S=118 up N=-117");
  const Kept report = only(got);
  EXPECT_EQ(report.link, "weir");
  EXPECT_EQ(report[Field::rssi_dbm], -101);
  EXPECT_EQ(report[Field::noise_dbm], -117);
  EXPECT_EQ(report.report.time, *parse_rfc3339("2031-03-01T12:00:00Z"));
  EXPECT_EQ(got.unknown, 1u);
}

TEST(Pattern, TheFirstThatMatchesCounts) {
  const auto decoder =
      made(settings({R"(A (?P<rssi_dbm>\S+))", R"(B (?P<snr_db>\S+))", R"((?P<seq>\d+))"}));
  EXPECT_EQ(only(decode(*decoder, "xx A -90 B 5"))[Field::rssi_dbm], -90);
  EXPECT_EQ(only(decode(*decoder, "xx B 5"))[Field::snr_db], 5);
  EXPECT_EQ(only(decode(*decoder, "xx 12"))[Field::seq], 12);
  EXPECT_EQ(decode(*decoder, "xx").rejects.at(0), RejectReason::syntax);
}

TEST(Pattern, AGroupWithoutPartIsAbsent) {
  const auto decoder = made(settings({R"(^r=(?P<rssi_dbm>-?\d*)(?: s=(?P<snr_db>\d+))?$)"}));
  EXPECT_FALSE(only(decode(*decoder, "r=-90")).has(Field::snr_db));
  EXPECT_EQ(decode(*decoder, "r=").rejects.at(0), RejectReason::empty);
  EXPECT_EQ(decode(*decoder, "r=-").rejects.at(0), RejectReason::implausible);
  EXPECT_EQ(decode(*decoder, "r=-999").rejects.at(0), RejectReason::implausible);
}

TEST(Pattern, BlocksAndBytesThatAreNoText) {
  const auto decoder =
      made(settings({R"((?s)level: *(?P<rssi_dbm>\S+).*ratio: *(?P<snr_db>\S+))"}));
  EXPECT_EQ(only(decode(*decoder, "level:  -90\xb0\n"s + "\nratio: 7"s)).report.present,
            std::uint64_t{1} << static_cast<unsigned>(Field::snr_db));
  EXPECT_EQ(only(decode(*decoder, "level: -90\n\xff\0\nratio: 7"s))[Field::rssi_dbm], -90);
}

TEST(Pattern, Errors) {
  const std::pair<std::vector<std::string>, const char*> cases[] = {
      {{}, "no expression"},
      {{"(?P<rssi_dbm>"}, "pattern 1"},
      {{"(?P<rssi_dbm>x)", "[z-a]"}, "pattern 2"},
      {{"no groups"}, "no group"},
      {{"(?P<colour>.*)"}, "no group"},
  };
  for (const auto& [patterns, words] : cases) {
    const auto made = make_decoder(settings(patterns));
    ASSERT_FALSE(made) << words;
    EXPECT_NE(made.error().message.find(words), std::string::npos) << made.error().message;
  }
}

}  // namespace
}  // namespace fadeward::report::pattern_test
