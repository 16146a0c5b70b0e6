#include "fadeward/report/decoder.hpp"

#include <random>

#include "unit/report/collect.hpp"

namespace fadeward::report::decoder_test {
namespace {

TEST(MakeDecoder, EveryKindReadsItsOwn) {
  DecoderSettings settings;
  EXPECT_EQ(only(decode(settings, R"({"rssi_dbm":-90})"))[Field::rssi_dbm], -90);
  settings.kind = DecoderKind::pairs;
  EXPECT_EQ(only(decode(settings, "rssi_dbm=-90"))[Field::rssi_dbm], -90);
  settings.kind = DecoderKind::csv;
  settings.columns = {"rssi_dbm"};
  EXPECT_EQ(only(decode(settings, "-90"))[Field::rssi_dbm], -90);
  settings.kind = DecoderKind::pattern;
  settings.patterns = {"(?P<rssi_dbm>.*)"};
  EXPECT_EQ(only(decode(settings, "-90"))[Field::rssi_dbm], -90);
  settings.kind = DecoderKind::senml;
  EXPECT_EQ(only(decode(settings, R"([{"n":"rssi_dbm","v":-90}])"))[Field::rssi_dbm], -90);
  settings.kind = DecoderKind::packed;
  settings.packed = {{"rssi_dbm", 0, PackedType::i8, false}};
  EXPECT_EQ(only(decode(settings, "\xa6"))[Field::rssi_dbm], -90);
}

TEST(MakeDecoder, RefusesWhatMakesNoSense) {
  std::vector<DecoderSettings> wrong(7);
  wrong[0].fields = {{"rssi", {}}};
  wrong[1].kind = DecoderKind::csv;
  wrong[1].separator = "";
  wrong[2].kind = DecoderKind::csv;
  wrong[2].columns = {"colour"};
  wrong[3].kind = DecoderKind::pairs;
  wrong[3].pair_separators = "=";
  wrong[4].kind = DecoderKind::pattern;
  wrong[5].kind = DecoderKind::packed;
  wrong[6].kind = DecoderKind::senml;
  wrong[6].fields = {{"rssi_dbm", {"x", 0, 0, {}}}};
  for (const DecoderSettings& settings : wrong) {
    const auto made = make_decoder(settings);
    ASSERT_FALSE(made);
    EXPECT_FALSE(made.error().message.empty());
  }
}

// Each frame ends in exactly one of: reports, one reject, or (csv) a header.
TEST(MakeDecoder, NoiseNeverGivesAValueOutOfRange) {
  std::vector<DecoderSettings> all(6);
  for (std::size_t i = 0; i < all.size(); ++i) all[i].kind = static_cast<DecoderKind>(i);
  all[2].columns = {"link", "rssi_dbm", "seq"};
  all[3].patterns = {R"((?P<rssi_dbm>-?\d+).*?(?P<seq>\d+))"};
  all[5].packed = {{"rssi_dbm", 0, PackedType::f32, false}, {"seq", 4, PackedType::u64, true}};
  std::mt19937_64 random(41);
  for (const DecoderSettings& settings : all) {
    const auto decoder = made(settings);
    for (int i = 0; i < 20000; ++i) {
      static constexpr char kBytes[] = "0123456789-.,=\"{}[]:eE rsi_dbmqn\\\x80\xff\n";
      std::string frame(random() % 40, '\0');
      for (char& c : frame)
        c = random() % 8 ? kBytes[random() % (sizeof kBytes - 1)] : static_cast<char>(random());
      const Collected got = decode(*decoder, frame);
      ASSERT_LE(got.rejects.size(), 1u) << "seed 41, round " << i;
      for (const Kept& report : got.reports) {
        ASSERT_NE(report.report.present, 0u);
        for (std::size_t f = 0; f < kFields; ++f) {
          const auto field = static_cast<Field>(f);
          if (!report.has(field)) continue;
          ASSERT_GE(report[field], field_info(field).lowest) << "seed 41, round " << i;
          ASSERT_LE(report[field], field_info(field).highest) << "seed 41, round " << i;
        }
      }
    }
  }
}

}  // namespace
}  // namespace fadeward::report::decoder_test
