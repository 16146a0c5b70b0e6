#include "fadeward/report/pairs.hpp"

#include "unit/report/collect.hpp"

namespace fadeward::report::pairs_test {
namespace {

DecoderSettings settings() {
  DecoderSettings out;
  out.kind = DecoderKind::pairs;
  out.fields = {{"rssi_dbm", {"rssi", 1, 0, {}}}, {"snr_db", {"snr", 0.25, 0, {}}}};
  return out;
}

TEST(Pairs, OneLine) {
  const Kept report =
      only(decode(settings(), "RX link=weir, rssi=-101;snr=30\tseq=0x10 time=1893456000.5"));
  EXPECT_EQ(report.link, "weir");
  EXPECT_EQ(report[Field::rssi_dbm], -101);
  EXPECT_EQ(report[Field::snr_db], 7.5);
  EXPECT_EQ(report[Field::seq], 16);
  EXPECT_EQ(report.unix_s(), 1893456000.5);
}

TEST(Pairs, QuotesBlanksAndLines) {
  Kept report = only(decode(settings(), R"(link="mill \"old\" house, \\ east" rssi = -90)"));
  EXPECT_EQ(report.link, R"(mill "old" house, \ east)");
  EXPECT_EQ(report[Field::rssi_dbm], -90);
  report = only(decode(settings(), "rssi=-90\nseq=4\nlink=a"));
  EXPECT_EQ(report[Field::seq], 4);
  EXPECT_EQ(report.link, "a");
  report = only(decode(settings(), "rssi=\"-90\" time=2031-03-01T12:00:00Z"));
  EXPECT_EQ(report[Field::rssi_dbm], -90);
  EXPECT_TRUE(report.report.timed);
}

struct Case {
  const char* line;
  int reports;
  const char* reject;
  unsigned discarded = 0, unknown = 0;
};

TEST(Pairs, WhatIsTakenAndWhatIsNot) {
  const Case cases[] = {
      {"", 0, "syntax"},
      {"hello world", 0, "syntax"},
      {"rssi=-101dBm", 0, "implausible", 1},
      {"rssi=-101dBm seq=1", 1, "", 1},
      {"rssi= seq=1", 1, ""},
      {"rssi=", 0, "empty"},
      {"rssi=nan seq=1", 1, "", 1},
      {"rssi=1e999 seq=1", 1, "", 1},
      {"rssi=+200 seq=1", 1, "", 1},
      {"foo=1 bar=2 seq=1", 1, "", 0, 2},
      {"foo=1", 0, "empty", 0, 1},
      {"=5 seq=1", 1, ""},
      {"=5", 0, "syntax"},
      {"seq=1 link=\"open", 0, "syntax"},
      {"seq=1 link=\"open\\", 0, "syntax"},
      {"seq=1=2", 0, "implausible", 1},
      {"seq=1 seq=2", 1, ""},
      {"= = =", 0, "syntax"},
  };
  const auto decoder = made(settings());
  for (const Case& c : cases) {
    const Collected got = decode(*decoder, c.line);
    EXPECT_EQ(got.reports.size(), static_cast<std::size_t>(c.reports)) << c.line;
    EXPECT_EQ(got.rejects.empty() ? "" : name_of(got.rejects[0]), c.reject) << c.line;
    EXPECT_EQ(got.discarded, c.discarded) << c.line;
    EXPECT_EQ(got.unknown, c.unknown) << c.line;
  }
}

TEST(Pairs, OtherSeparators) {
  DecoderSettings bars = settings();
  bars.pair_separators = "|";
  const Kept report = only(decode(bars, "rssi=-101|link=mill house|seq=4"));
  EXPECT_EQ(report.link, "mill house");
  EXPECT_EQ(report[Field::seq], 4);
}

}  // namespace
}  // namespace fadeward::report::pairs_test
