#include "fadeward/report/senml.hpp"

#include <simdjson.h>

#include <map>

#include "fadeward/report/senml_pack.hpp"
#include "unit/report/collect.hpp"

namespace fadeward::report::senml_test {
namespace {

using namespace std::string_literals;
namespace dom = simdjson::dom;

// The examples of RFC 8428 with the working group's own resolved form (file names its source).
TEST(SenmlPack, PublishedExamples) {
  dom::parser parser;
  const dom::element file = parser.load(FADEWARD_TEST_DATA "/senml_rfc8428_examples.json");
  std::size_t records = 0;
  for (const dom::element example : dom::array(file["examples"])) {
    const std::string text = simdjson::to_string(example["pack"]);
    const dom::array resolved = example["resolved"];
    // The example that gives a time of 0 was resolved at its own moment.
    const double now = double(resolved.at(0)["t"]);
    SenmlPack pack;
    ASSERT_TRUE(pack.resolve(text, now)) << text;
    ASSERT_EQ(pack.records().size(), resolved.size());
    std::size_t i = 0;
    for (const dom::element expected : resolved) {
      const SenmlRecord& record = pack.records()[i++];
      EXPECT_EQ(record.name, std::string_view(expected["n"]));
      EXPECT_EQ(record.unit, std::string_view(expected["u"]));
      EXPECT_NEAR(record.unix_s, double(expected["t"]), 1e-6);
      EXPECT_EQ(record.kind, SenmlRecord::Kind::number);
      EXPECT_EQ(record.number, double(expected["v"]));
      ++records;
    }
  }
  EXPECT_EQ(records, 42u);  // 2 + 7 + 12 + 13 + 4 + 2 + 2
}

TEST(SenmlPack, ValuesOfEveryKindAndBaseValue) {
  SenmlPack pack;
  ASSERT_TRUE(pack.resolve(
      R"([{"bn":"d:","bv":-100,"n":"a","v":1.5},{"n":"b","vs":"x\ty"},{"n":"c","vb":true},{"n":"d","vd":"aGk"},)"
      R"({"n":"e","s":5},{"n":"f","v":2,"extra":[1],"ut":60}])",
      0));
  const auto& records = pack.records();
  ASSERT_EQ(records.size(), 6u);
  EXPECT_EQ(records[0].number, -98.5);
  EXPECT_EQ(records[1].text, "x\ty");
  EXPECT_EQ(records[2].kind, SenmlRecord::Kind::boolean);
  EXPECT_EQ(records[2].number, 1);
  EXPECT_EQ(records[3].kind, SenmlRecord::Kind::data);
  EXPECT_EQ(records[4].kind, SenmlRecord::Kind::none);
  EXPECT_EQ(records[5].number, -98);
  EXPECT_EQ(records[5].name, "d:f");
  EXPECT_EQ(pack.unknown_labels(), 1u);
}

TEST(SenmlPack, RelativeAndAbsoluteTimes) {
  SenmlPack pack;
  // 2^28 = 268435456 is the first absolute time (RFC 8428 section 4.5.3).
  ASSERT_TRUE(pack.resolve(R"([{"n":"a","v":1,"t":268435455},{"n":"a","v":1,"t":268435456},)"
                           R"({"n":"a","v":1,"t":-10},{"n":"a","v":1}])",
                           1e9));
  EXPECT_EQ(pack.records()[0].unix_s, 1268435455);
  EXPECT_EQ(pack.records()[1].unix_s, 268435456);
  EXPECT_EQ(pack.records()[2].unix_s, 999999990);
  EXPECT_EQ(pack.records()[3].unix_s, 1e9);
  EXPECT_FALSE(pack.records()[3].timed);
}

TEST(SenmlPack, Refusals) {
  SenmlPack pack;
  for (const char* bad :
       {"", "[]", "{}", "[{]", "[{}", "[{},]", "[1]", R"([{"n":1,"v":1}])",
        R"([{"n":"a","v":"1"}])", R"([{"n":"a","v":null}])", R"([{"v":1}])",
        R"([{"bver":11,"n":"a","v":1}])", R"([{"must_":1,"n":"a","v":1}])", R"([{"n":"a","vb":1}])",
        R"([{"n":"a","vb":null}])", R"([{"n":"a","v":1}] x)", R"([{"n":"a","v":01}])",
        "[{\"n\":\"\xff\",\"v\":1}]"})
    EXPECT_FALSE(pack.resolve(bad, 0)) << bad;
  EXPECT_TRUE(pack.resolve(R"([{"bver":10,"n":"a","v":1}])", 0));
  EXPECT_TRUE(pack.resolve(R"([{"bver":5,"bn":"a"},{"v":1}])", 0));
}

// A small pack must not unfold into a large one.
TEST(SenmlPack, NamesAreBounded) {
  std::string pack = R"([{"bn":")" + std::string(30000, 'n') + "\"}";
  while (pack.size() < 65000) pack += R"(,{"v":1})";
  SenmlPack resolved;
  EXPECT_FALSE(resolved.resolve(pack + "]", 0));
}

TEST(SenmlPack, CutAtEveryLength) {
  const std::string whole =
      R"([{"bn":"a:","bt":1.5e9,"n":"\u0041","v":-1.5},{"n":"y","vs":"z","t":2}])";
  SenmlPack pack;
  for (std::size_t size = 0; size < whole.size(); ++size)
    EXPECT_FALSE(pack.resolve(std::string_view(whole).substr(0, size), 0)) << size;
  EXPECT_TRUE(pack.resolve(whole, 0));
}

DecoderSettings settings(std::map<std::string, FieldRule> fields = {}) {
  DecoderSettings out;
  out.kind = DecoderKind::senml;
  out.fields = std::move(fields);
  return out;
}

TEST(Senml, RecordsOfOneLinkAndTimeMakeOneReport) {
  const Collected got = decode(
      settings(),
      R"([{"bn":"urn:dev:ow:10e2073a01080063:","bt":1893456000,"n":"rssi_dbm","v":-101},{"n":"snr_db","v":7.5},)"
      R"({"n":"rssi_dbm","v":-102,"t":10},{"bn":"mast/","n":"rssi_dbm","v":-90},{"n":"pressure","v":1}])");
  ASSERT_EQ(got.reports.size(), 3u);
  EXPECT_EQ(got.unknown, 1u);
  EXPECT_EQ(got.reports[0].link, "mast");
  EXPECT_EQ(got.reports[0][Field::rssi_dbm], -90);
  EXPECT_EQ(got.reports[1].link, "urn:dev:ow:10e2073a01080063");
  EXPECT_EQ(got.reports[1].unix_s(), 1893456000);
  EXPECT_EQ(got.reports[1][Field::rssi_dbm], -101);
  EXPECT_EQ(got.reports[1][Field::snr_db], 7.5);
  EXPECT_EQ(got.reports[2].unix_s(), 1893456010);
  EXPECT_EQ(got.reports[2][Field::rssi_dbm], -102);
  EXPECT_FALSE(got.reports[2].has(Field::snr_db));
}

TEST(Senml, RulesAndLinkRecords) {
  const auto rules =
      settings({{"rssi_dbm", {"level", 0.5, -160, {}}}, {"link", {"node", 1, 0, {}}}});
  const Kept report =
      only(decode(rules, R"([{"n":"node","vs":"weir"},{"n":"level","v":118},{"n":"seq","v":3}])"));
  EXPECT_EQ(report.link, "weir");
  EXPECT_EQ(report[Field::rssi_dbm], -101);
  EXPECT_EQ(report[Field::seq], 3);
  EXPECT_FALSE(report.report.timed);
}

TEST(Senml, RelativeTimeCountsFromArrival) {
  const Kept report = only(decode(settings(), R"([{"n":"a:seq","v":3,"t":-5}])"));
  EXPECT_TRUE(report.report.timed);
  EXPECT_EQ(report.report.time, kNow - std::chrono::seconds(5));
}

// dBW and dBm differ by 30 dB; 0 degrees Celsius is 273.15 K.
TEST(Senml, UnitsAreHeeded) {
  const Kept report = only(decode(
      settings(),
      R"([{"n":"rssi_dbm","u":"dBW","v":-130},{"n":"temperature_c","u":"K","v":293.15},)"
      R"({"n":"latency_s","u":"ms","v":250},{"n":"frequency_hz","u":"MHz","v":915},{"n":"snr_db","u":"dB","v":3}])"));
  EXPECT_EQ(report[Field::rssi_dbm], -100);
  EXPECT_NEAR(report[Field::temperature_c], 20, 1e-9);
  EXPECT_EQ(report[Field::latency_s], 0.25);
  EXPECT_EQ(report[Field::frequency_hz], 915e6);
  EXPECT_EQ(report[Field::snr_db], 3);
}

TEST(Senml, Rejects) {
  EXPECT_EQ(decode(settings(), "nonsense").rejects.at(0), RejectReason::syntax);
  EXPECT_EQ(decode(settings(), R"([{"n":"x","v":1}])").rejects.at(0), RejectReason::empty);
  EXPECT_EQ(decode(settings(), R"([{"n":"rssi_dbm","v":500}])").rejects.at(0),
            RejectReason::implausible);
  EXPECT_EQ(decode(settings(), R"([{"n":"rssi_dbm","vb":true},{"n":"seq","v":1}])").discarded, 1u);
}

}  // namespace
}  // namespace fadeward::report::senml_test
