// Decoders: no value out of its range, every frame ends in a report, a reject or a count; and the
// canonical parser says the same with and without padding, however it was warmed up.
#include <cmath>
#include <cstring>
#include <memory>
#include <string>

#include "fadeward/report/canonical.hpp"
#include "fadeward/report/decoder.hpp"
#include "fuzz/fuzz.hpp"

namespace fadeward::fuzz {

std::span<const std::string_view> seeds() {
  using namespace std::string_view_literals;
  static constexpr std::string_view kSeeds[] = {
      "\x00{\"time\":1893456000.272,\"link\":\"L1\",\"seq\":3607,\"rssi_dbm\":-97,\"snr_db\":19.5,\"noise_dbm\":-117}"sv,
      "\x00{ \"time\" : \"2031-03-01T12:00:00Z\", \"x\": [1, {\"y\": null}], \"link\": \"a\\u00e9\", \"channel\": 1e1 }"sv,
      "\x01{\"radio\":{\"rssi\":\"-101\",\"n\":[1,2]},\"s\":118,\"t\":1893456000250,\"node\":7}"sv,
      "\x02link=weir rssi_dbm=-101, snr_db = 7.5; seq=0x10 name=\"a \\\"b\\\"\""sv,
      "\x03link,rssi_dbm,seq"sv,
      "\x03\"mill, house\",-101,5"sv,
      "\x04t=1893456000.272 link=L1 rssi=-97 snr=19.5"sv,
      "\x05[{\"bn\":\"urn:dev:1:\",\"bt\":1893456000,\"n\":\"rssi_dbm\",\"v\":-101},{\"n\":\"snr_db\",\"v\":7.5,\"t\":-5}]"sv,
      "\x06\x01\x02\x00\x01\x02\x03\xc9\xff\x41\x48\x00\x00"sv,
  };
  return kSeeds;
}

namespace {

DecoderSettings settings(unsigned kind) {
  DecoderSettings out;
  switch (kind) {
    case 1:
      out.fields = {{"rssi_dbm", {"radio.rssi", 1, 0, {}}},
                    {"channel", {"s", 1, 0, std::pair(2, 5)}},
                    {"time", {"t", 0.001, 0, {}}},
                    {"link", {"node", 1, 0, {}}}};
      break;
    case 2: out.kind = DecoderKind::pairs; break;
    case 3: out.kind = DecoderKind::csv; break;
    case 4:
      out.kind = DecoderKind::pattern;
      out.patterns = {
          R"(^t=(?P<time>\d+\.\d+) link=(?P<link>\S+) rssi=(?P<rssi_dbm>-?\d+) snr=(?P<snr_db>\S+)$)",
          R"(rssi=(?P<rssi_dbm>-?\d+))"};
      break;
    case 5: out.kind = DecoderKind::senml; break;
    case 6:
      out.kind = DecoderKind::packed;
      out.packed = {{"link", 0, PackedType::u16, true},
                    {"time", 2, PackedType::u32, false},
                    {"supply_v", 8, PackedType::f32, true}};
      break;
    default: break;
  }
  return out;
}

struct Sink final : report::ReportSink {
  int reports = 0, rejects = 0;
  void report(LinkReport& report) override {
    ++reports;
    require(report.present != 0, "a report says something");
    for (std::size_t i = 0; i < kFields; ++i) {
      const auto field = static_cast<Field>(i);
      if (!report.has(field)) continue;
      const FieldInfo& info = field_info(field);
      require(report[field] >= info.lowest && report[field] <= info.highest,
              "a value lies in its field's range");
    }
    std::size_t sum = 0;  // every byte of the link's name can be read
    for (const char c : report.link) sum += static_cast<unsigned char>(c);
    require(sum <= report.link.size() * 255, "a link's name can be read");
  }
  void rejected(RejectReason, std::string_view) override { ++rejects; }
  void values_discarded(std::uint64_t count) override { require(count > 0, "a count counts"); }
  void unknown_keys(std::uint64_t count) override { require(count > 0, "a count counts"); }
};

void compare(const report::Parsed& a, const LinkReport& one, const report::Parsed& b,
             const LinkReport& two) {
  require(a.outcome == b.outcome, "same outcome with padding, or after other lines");
  if (a.outcome == report::Outcome::syntax) return;
  require(a.tally.unknown_keys == b.tally.unknown_keys &&
              a.tally.values_discarded == b.tally.values_discarded,
          "same counts");
  require(one.present == two.present && one.timed == two.timed && one.link == two.link,
          "same keys");
  for (std::size_t i = 0; i < kFields; ++i)
    require(!one.has(static_cast<Field>(i)) || one.values[i] == two.values[i], "same values");
}

void check_canonical(std::string_view line) {
  static report::CanonicalParser warm;
  static report::CanonicalParser warm_padded;
  report::CanonicalParser cold;
  LinkReport a, b, c;
  const report::Parsed first = cold.parse(line, a);
  compare(first, a, warm.parse(line, b), b);
  std::string padded(line);
  padded.append(report::kJsonPadding, line.empty() ? '}' : line.back());
  compare(first, a, warm_padded.parse_padded({padded.data(), line.size()}, c), c);
}

}  // namespace
}  // namespace fadeward::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace fadeward::fuzz;
  namespace report = fadeward::report;
  constexpr unsigned kKinds = 7;
  static std::unique_ptr<report::Decoder> decoders[kKinds];
  if (size == 0) return 0;
  const unsigned kind = data[0] % kKinds;
  auto& decoder = decoders[kind];
  if (!decoder) decoder = std::move(report::make_decoder(settings(kind))).value();
  // A copy of exactly this size, so that a sanitizer sees a read beyond it.
  const std::unique_ptr<char[]> copy(new char[size - 1]);
  std::memcpy(copy.get(), data + 1, size - 1);
  const std::string_view frame(copy.get(), size - 1);
  Sink sink;
  decoder->decode(frame, fadeward::Time{std::chrono::seconds{1'900'000'000}}, sink);
  const bool is_senml = kind == 5, is_csv = kind == 3;
  require(
      is_senml || sink.reports + sink.rejects == 1 || (is_csv && sink.reports + sink.rejects == 0),
      "a frame is a report or a reject");
  require(!is_senml || sink.reports + sink.rejects > 0, "a pack is not lost");
  if (kind == 0) check_canonical(frame);
  return 0;
}
