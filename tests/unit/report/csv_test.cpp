#include "fadeward/report/csv.hpp"

#include "unit/report/collect.hpp"

namespace fadeward::report::csv_test {
namespace {

DecoderSettings settings(std::vector<std::string> columns = {}) {
  DecoderSettings out;
  out.kind = DecoderKind::csv;
  out.columns = std::move(columns);
  return out;
}

TEST(Csv, ColumnsFromTheHeader) {
  const auto decoder = made(settings());
  EXPECT_EQ(decode(*decoder, "weir,-101,5").rejects.at(0),
            RejectReason::syntax);  // before a header
  const Collected header = decode(*decoder, "link,rssi_dbm,colour,seq");
  EXPECT_TRUE(header.reports.empty());
  EXPECT_TRUE(header.rejects.empty());
  const Collected got = decode(*decoder, "weir,-101,red,5");
  const Kept report = only(got);
  EXPECT_EQ(report.link, "weir");
  EXPECT_EQ(report[Field::rssi_dbm], -101);
  EXPECT_EQ(report[Field::seq], 5);
  EXPECT_EQ(got.unknown, 1u);
}

TEST(Csv, ALaterHeaderIsReadAgain) {
  const auto decoder = made(settings());
  decode(*decoder, "link,rssi_dbm");
  decode(*decoder, "link,rssi_dbm");
  EXPECT_EQ(only(decode(*decoder, "a,-90"))[Field::rssi_dbm], -90);
  decode(*decoder, "\"snr_db\", link");
  const Kept report = only(decode(*decoder, "7.5,b"));
  EXPECT_EQ(report[Field::snr_db], 7.5);
  EXPECT_EQ(report.link, "b");
  decoder->restart();
  EXPECT_EQ(decode(*decoder, "7.5,b").rejects.size(), 1u);
}

TEST(Csv, GivenColumnsPassAHeaderOver) {
  const auto decoder = made(settings({"link", "rssi_dbm"}));
  EXPECT_EQ(only(decode(*decoder, "a,-90"))[Field::rssi_dbm], -90);
  EXPECT_TRUE(decode(*decoder, "rssi_dbm,link").rejects.empty());
  EXPECT_EQ(only(decode(*decoder, "a,-91"))[Field::rssi_dbm], -91);
  decoder->restart();
  EXPECT_EQ(only(decode(*decoder, "a,-91"))[Field::rssi_dbm], -91);
}

// The rules of RFC 4180 section 2, numbers 4 to 7.
TEST(Csv, Quoting) {
  const auto decoder = made(settings({"link", "rssi_dbm", "seq"}));
  EXPECT_EQ(only(decode(*decoder, "\"a,b\",-90,1")).link, "a,b");
  EXPECT_EQ(only(decode(*decoder, "\"a \"\"b\"\" c\",-90,1")).link, "a \"b\" c");
  EXPECT_EQ(only(decode(*decoder, "\"a\nb\",-90")).link, "a\nb");
  EXPECT_EQ(only(decode(*decoder, "\"\",\"-90\",\"7\""))[Field::seq], 7);
  EXPECT_EQ(only(decode(*decoder, "\"\"\"\",\"-90\"")).link, "\"");
  for (const char* bad : {"\"a,-90", "\"a\"b,-90", "\"", "a,\"-90\" ", "\"\"\",1"})
    EXPECT_EQ(decode(*decoder, bad).rejects.at(0), RejectReason::syntax) << bad;
}

TEST(Csv, ShortLongAndEmpty) {
  const auto decoder = made(settings({"link", "rssi_dbm", "seq"}));
  EXPECT_EQ(only(decode(*decoder, "a,-90")).report.present,
            std::uint64_t{1} << static_cast<unsigned>(Field::rssi_dbm));
  EXPECT_EQ(only(decode(*decoder, "a,,5"))[Field::seq], 5);
  EXPECT_EQ(decode(*decoder, "a").rejects.at(0), RejectReason::empty);
  EXPECT_EQ(decode(*decoder, "a,-90,5,9,,8").unknown, 2u);
  EXPECT_EQ(decode(*decoder, "a,-90x,5").discarded, 1u);
  EXPECT_EQ(only(decode(*decoder, " a , -90 , 5 ")).link, "a");
}

TEST(Csv, OtherSeparators) {
  DecoderSettings wide = settings({"link", "rssi_dbm"});
  wide.separator = "||";
  EXPECT_EQ(only(decode(wide, "a|b||-90")).link, "a|b");
  wide.separator = "\t";
  EXPECT_EQ(only(decode(wide, "a,b\t-90")).link, "a,b");
}

}  // namespace
}  // namespace fadeward::report::csv_test
