// Good files: every key reaches its field. Expected values are those written in the files.
#include "fadeward/config/parse.hpp"

#include <gtest/gtest.h>

#include <chrono>
#include <fstream>
#include <string>

#include "fadeward/config/describe.hpp"

namespace fadeward::config::parse_test {
namespace {

using namespace std::chrono;

Settings good(const std::string& yaml, const std::string& file = "f.yaml") {
  auto parsed = parse(yaml, file);
  EXPECT_TRUE(parsed.ok()) << (parsed.ok() ? "" : parsed.error().message) << '\n' << yaml;
  return parsed.ok() ? *parsed : Settings{};
}

Settings good_file(const std::string& name) {
  auto parsed = load(std::string(FADEWARD_TEST_DATA) + name);
  EXPECT_TRUE(parsed.ok()) << (parsed.ok() ? "" : parsed.error().message);
  return parsed.ok() ? *parsed : Settings{};
}

PortSettings port(const std::string& keys) {
  auto settings = good("ports:\n  - name: p\n    " + keys + "\n");
  return settings.ports.empty() ? PortSettings{} : settings.ports[0];
}

LinkSettings link(const std::string& keys) {
  auto settings = good("links:\n  - name: a\n    " + keys + "\n");
  return settings.links.empty() ? LinkSettings{} : settings.links[0];
}

Time at(int year, unsigned month_number, unsigned day_number, Duration of_day = 0s) {
  return Time{sys_days{std::chrono::year{year} / static_cast<int>(month_number) /
                       static_cast<int>(day_number)}} +
         of_day;
}

TEST(Parse, MinimalFileOfTheContract) {
  const auto settings = good_file("/config/good/minimal.yaml");
  ASSERT_EQ(settings.links.size(), 1U);
  const auto& only = settings.links[0];
  EXPECT_EQ(only.name, "L1");
  EXPECT_EQ(only.radio.modulation, RadioSettings::Modulation::css);
  EXPECT_EQ(only.radio.spreading_factor, 7);
  EXPECT_EQ(only.radio.bandwidth_hz, 125000.0);
  EXPECT_EQ(only.radio.noise_figure_db, 6.0);
  EXPECT_EQ(only.budget.inbound_signal_dbm, -100.0);
  EXPECT_EQ(only.budget.outbound_signal_dbm, -100.0);
  EXPECT_EQ(only.alerts.margin_db.warning, 10.0);
  EXPECT_EQ(only.alerts.margin_db.critical, 5.0);
  EXPECT_TRUE(settings.ports.empty());
  EXPECT_EQ(settings.http.address, "127.0.0.1");
  EXPECT_EQ(settings.http.port, 10868);
}

TEST(Parse, HowLongAndHowMuchHistoryIsKept) {
  const auto plain = good("history: { dir: /h }\n").history;
  EXPECT_EQ(plain.keep, Duration(24h * 365 * 5));
  EXPECT_FALSE(plain.keep_quarters || plain.keep_events);
  EXPECT_EQ(plain.max_bytes, 0U);
  const auto all = good(
                       "history: { dir: /h, keep: 3y, keep_quarters: 90d, keep_events: 10y, "
                       "max_size: 1.5GB }\n")
                       .history;
  EXPECT_EQ(all.keep, Duration(24h * 365 * 3));
  EXPECT_EQ(all.keep_quarters, Duration(24h * 90));
  EXPECT_EQ(all.keep_events, Duration(24h * 365 * 10));
  EXPECT_EQ(all.max_bytes, 1'500'000'000U);
  EXPECT_EQ(good("history: { dir: /h, max_size: off }\n").history.max_bytes, 0U);
}

TEST(Parse, FullerShapeOfTheContractServices) {
  const auto settings = good_file("/config/good/fuller.yaml");
  const std::string directory = std::string(FADEWARD_TEST_DATA) + "/config/good/";
  EXPECT_EQ(settings.external_labels,
            (std::map<std::string, std::string>{{"gateway", "mill-house"}}));
  EXPECT_EQ(settings.http.web_config, directory + "web.yaml");
  EXPECT_EQ(settings.history.dir, "/var/lib/fadeward");
  EXPECT_EQ(settings.history.keep, Duration(24h * 365 * 5));
  ASSERT_EQ(settings.push.alertmanagers.size(), 2U);
  EXPECT_EQ(settings.push.alertmanagers[0].url, "http://127.0.0.1:9093");
  EXPECT_EQ(settings.push.alertmanagers[1].url, "https://alerts.example.org/am");
  ASSERT_TRUE(settings.push.remote_write);
  EXPECT_EQ(settings.push.remote_write->interval, Duration(30s));
  EXPECT_TRUE(settings.push.remote_write->out_of_order);
  EXPECT_EQ(settings.push.remote_write->max_sample_age, Duration(2h));
}

TEST(Parse, FullerShapeOfTheContractPort) {
  const auto settings = good_file("/config/good/fuller.yaml");
  ASSERT_EQ(settings.ports.size(), 1U);
  const auto& mast = settings.ports[0];
  EXPECT_EQ(mast.source, SourceKind::serial);
  EXPECT_EQ(mast.path, "/dev/serial/by-id/usb-radio-0001");
  EXPECT_EQ(mast.serial.baud, 57600U);
  EXPECT_EQ(mast.framing.kind, FramingSettings::Kind::lines);
  EXPECT_EQ(mast.decoder.kind, DecoderKind::pattern);
  EXPECT_EQ(mast.decoder.patterns.size(), 1U);
  const auto& rule = mast.decoder.fields.at("rssi_dbm");
  EXPECT_EQ(rule.from, "s");
  EXPECT_EQ(rule.scale, 0.5);
  EXPECT_EQ(rule.offset, -160.0);
  EXPECT_FALSE(rule.bits);
}

TEST(Parse, FullerShapeOfTheContractLink) {
  const auto settings = good_file("/config/good/fuller.yaml");
  const std::string directory = std::string(FADEWARD_TEST_DATA) + "/config/good/";
  ASSERT_EQ(settings.links.size(), 2U);
  const auto& weir = settings.links[0];
  EXPECT_EQ(weir.match.port, "mast");
  EXPECT_EQ(weir.match.link, "7");
  EXPECT_EQ(weir.expect, Duration(10s));
  EXPECT_EQ(weir.radio.sensitivity_dbm, -124.0);
  EXPECT_EQ(weir.radio.required_snr_db, -7.5);
  EXPECT_EQ(weir.radio.rssi, RadioSettings::Rssi::total);
  EXPECT_EQ(weir.radio.max_power_dbm, 30.0);
  EXPECT_EQ(weir.budget.frequency_mhz, 915.0);
  EXPECT_EQ(weir.budget.distance_km, 14.2);
  EXPECT_EQ(weir.budget.near.power_dbm, 27.0);
  EXPECT_EQ(weir.budget.near.antenna_dbi, 2.15);
  EXPECT_EQ(weir.budget.near.feeder_db, 0.6);
  EXPECT_EQ(weir.budget.near.height_m, 12.0);
  EXPECT_EQ(weir.budget.far.power_dbm, 20.0);
  EXPECT_EQ(weir.budget.far.man_made_noise_db, 7.9);
  EXPECT_EQ(weir.budget.profile, directory + "path.csv");
  EXPECT_EQ(weir.budget.foliage_m, 40.0);
  EXPECT_EQ(weir.budget.availability, 0.999);
  EXPECT_EQ(weir.budget.multipath.log10_k, -4.5);
  EXPECT_EQ(weir.budget.multipath.dn75, 30.0);
  EXPECT_EQ(weir.rules.set, "us-15.247-hopping");
  EXPECT_EQ(weir.rules.channels, 50);
  EXPECT_EQ(weir.rules.dwell_s, 0.4);
  EXPECT_EQ(weir.alerts.margin_db.clear_by, 2.0);
  EXPECT_EQ(weir.alerts.margin_db.hold, Duration(15min));
  EXPECT_EQ(weir.alerts.silent, Duration(15min));
  EXPECT_FALSE(weir.baseline.commissioning);
  EXPECT_EQ(weir.baseline.from, at(2031, 3, 1));
  EXPECT_EQ(weir.baseline.to, at(2031, 3, 15));
  ASSERT_EQ(weir.upkeep.size(), 1U);
  EXPECT_EQ(weir.upkeep[0].from, at(2031, 4, 2, 8h));
  EXPECT_EQ(weir.upkeep[0].to, at(2031, 4, 2, 15h));  // 16:00 at one hour east of UTC
  EXPECT_EQ(weir.upkeep[0].note, "mast work");
  EXPECT_EQ(weir.via, "ridge");
  EXPECT_FALSE(weir.moving);
  EXPECT_TRUE(settings.links[1].moving);
  EXPECT_TRUE(settings.links[1].baseline.commissioning);
}

TEST(Parse, DefaultsStandUnderEveryLinkKeyByKey) {
  const auto settings = good_file("/config/good/fuller.yaml");
  ASSERT_EQ(settings.links.size(), 2U);
  const auto& weir = settings.links[0];
  EXPECT_EQ(weir.radio.noise_figure_db, 5.0);  // from the defaults
  EXPECT_EQ(weir.radio.seq, RadioSettings::Seq::messages);
  EXPECT_EQ(weir.budget.frequency_mhz, 915.0);      // the link's own
  EXPECT_EQ(weir.alerts.loss_ratio.warning, 0.3);   // the link's own
  EXPECT_EQ(weir.alerts.loss_ratio.critical, 0.4);  // from the defaults
  EXPECT_EQ(weir.alerts.loss_ratio.clear_by, 0.05);
  EXPECT_EQ(weir.alerts.loss_ratio.hold, Duration(15min));  // built in
  EXPECT_FALSE(weir.alerts.latency_s.warning);
  const auto& ridge = settings.links[1];
  EXPECT_EQ(ridge.budget.frequency_mhz, 868.0);
  EXPECT_EQ(ridge.budget.near.antenna_dbi, 5.0);
  EXPECT_EQ(ridge.rules.set, "us-15.247-hopping");
  EXPECT_FALSE(ridge.rules.channels);
}

TEST(Parse, DefaultsMayStandBelowTheLinks) {
  const auto settings =
      good("links: [{name: a}]\ndefaults: { budget: { profile: p/x.csv } }\n", "etc/here/f.yaml");
  ASSERT_EQ(settings.links.size(), 1U);
  EXPECT_EQ(settings.links[0].budget.profile, "etc/here/p/x.csv");
}

TEST(Parse, DefaultUpkeepIsReplacedAsAWhole) {
  const auto settings = good(
      "defaults: { upkeep: [ { from: 2031-01-01, to: 2031-01-02 } ] }\n"
      "links:\n  - name: a\n  - name: b\n    upkeep: []\n");
  ASSERT_EQ(settings.links.size(), 2U);
  EXPECT_EQ(settings.links[0].upkeep.size(), 1U);
  EXPECT_TRUE(settings.links[1].upkeep.empty());
}

TEST(Parse, AlertsSwitchedOffAndOnAgain) {
  const auto settings = good(
      "defaults: { alerts: { margin_db: off, deficit_db: off } }\n"
      "links:\n  - name: a\n    alerts: { margin_db: { warning: 8 } }\n");
  ASSERT_EQ(settings.links.size(), 1U);
  const auto& alerts = settings.links[0].alerts;
  EXPECT_EQ(alerts.margin_db.warning, 8.0);
  EXPECT_FALSE(alerts.margin_db.critical);
  EXPECT_FALSE(alerts.deficit_db.warning);
}

TEST(Parse, BuiltInLevelsGiveWayToTheFile) {
  const auto lower = link("alerts: { margin_db: { warning: 4 } }").alerts.margin_db;
  EXPECT_EQ(lower.warning, 4.0);
  EXPECT_FALSE(lower.critical);  // built in: 5, above the warning
  const auto higher = link("alerts: { margin_db: { critical: 12 } }").alerts.margin_db;
  EXPECT_EQ(higher.critical, 12.0);
  EXPECT_FALSE(higher.warning);  // built in: 10
  const auto agrees = link("alerts: { margin_db: { warning: 8 } }").alerts.margin_db;
  EXPECT_EQ(agrees.critical, 5.0);
}

TEST(Parse, SourcesOfEveryKind) {
  const auto tcp = port("source: tcp://gateway.example:4001");
  EXPECT_EQ(tcp.source, SourceKind::tcp);
  EXPECT_EQ(tcp.host, "gateway.example");
  EXPECT_EQ(tcp.tcp_udp_port, 4001);
  const auto v6 = port("source: \"tcp://[2001:db8::1]:65535\"");
  EXPECT_EQ(v6.host, "2001:db8::1");
  EXPECT_EQ(v6.tcp_udp_port, 65535);
  const auto udp =
      port("source: udp://0.0.0.0:5000\n    allow: [192.0.2.0/24, \"2001:db8::/32\", 192.0.2.7]");
  EXPECT_EQ(udp.source, SourceKind::udp);
  EXPECT_EQ(udp.allow.size(), 3U);
  EXPECT_EQ(port("source: \"udp://[::1]:5000\"").host, "::1");  // loopback needs no list
  EXPECT_EQ(port("source: udp://127.9.9.9:5000").host, "127.9.9.9");
  EXPECT_EQ(port("source: file:log/today.txt").path, "log/today.txt");
  EXPECT_EQ(port("source: \"stdin:\"").source, SourceKind::stdin_stream);
}

TEST(Parse, RelativePathsStartAtTheFile) {
  const std::string yaml =
      "http: { web_config: web.yaml }\nhistory: { dir: ../store }\n"
      "ports: [{ name: p, source: \"file:log.txt\" }, { name: q, source: \"serial:/dev/ttyS0\" }]\n"
      "links: [{ name: a, budget: { profile: /abs/path.csv } }]\n";
  const auto settings = good(yaml, "/etc/fadeward/f.yaml");
  EXPECT_EQ(settings.http.web_config, "/etc/fadeward/web.yaml");
  EXPECT_EQ(settings.history.dir, "/etc/fadeward/../store");
  ASSERT_EQ(settings.ports.size(), 2U);
  EXPECT_EQ(settings.ports[0].path, "/etc/fadeward/log.txt");
  EXPECT_EQ(settings.ports[1].path, "/dev/ttyS0");
  EXPECT_EQ(settings.links[0].budget.profile, "/abs/path.csv");
  EXPECT_EQ(good(yaml, "f.yaml").history.dir, "../store");
}

TEST(Parse, SerialKeys) {
  const auto serial =
      port(
          "source: serial:/dev/ttyS0\n"
          "    serial: { baud: 45450, parity: odd, data_bits: 7, stop_bits: 2, flow: rts_cts }")
          .serial;
  EXPECT_EQ(serial.baud, 45450U);
  EXPECT_EQ(serial.parity, SerialSettings::Parity::odd);
  EXPECT_EQ(serial.data_bits, 7);
  EXPECT_EQ(serial.stop_bits, 2);
  EXPECT_EQ(serial.flow, SerialSettings::Flow::rts_cts);
}

TEST(Parse, FramingAsWordOrMap) {
  EXPECT_EQ(port("source: \"stdin:\"\n    framing: hdlc").framing.kind,
            FramingSettings::Kind::hdlc);
  const auto cobs =
      port("source: \"stdin:\"\n    framing: { kind: cobs, crc: crc16_x25, max_bytes: 300 }");
  EXPECT_EQ(cobs.framing.kind, FramingSettings::Kind::cobs);
  EXPECT_EQ(cobs.framing.crc, FramingSettings::Crc::crc16_x25);
  EXPECT_EQ(cobs.framing.max_bytes, 300U);
  EXPECT_EQ(port("source: \"stdin:\"\n    framing: { block_end: '^ok$' }").framing.block_end,
            "^ok$");
}

TEST(Parse, PackedFieldsAndBits) {
  const auto decoder = port(R"(source: "stdin:"
    framing: cobs
    decoder: packed
    packed_min_bytes: 9
    packed:
      - { name: link, at: 0, type: u8 }
      - { name: seq, at: 1, type: u16, order: big }
      - { name: levels, at: 3, type: u8 }
      - { name: supply_v, at: 4, type: f32, order: little }
    fields:
      channel: { from: levels, bits: "7..4" }
      rssi_dbm: { from: levels, bits: 0..3, scale: -3, offset: -80 }
      spreading_factor: { from: levels, bits: 2 })")
                           .decoder;
  EXPECT_EQ(decoder.packed_min_bytes, 9U);
  ASSERT_EQ(decoder.packed.size(), 4U);
  EXPECT_EQ(decoder.packed[1].name, "seq");
  EXPECT_EQ(decoder.packed[1].at, 1U);
  EXPECT_EQ(decoder.packed[1].type, PackedType::u16);
  EXPECT_TRUE(decoder.packed[1].big_endian);
  EXPECT_FALSE(decoder.packed[3].big_endian);
  EXPECT_EQ(decoder.fields.at("channel").bits, std::pair(4, 4));
  EXPECT_EQ(decoder.fields.at("rssi_dbm").bits, std::pair(0, 4));
  EXPECT_EQ(decoder.fields.at("spreading_factor").bits, std::pair(2, 1));
}

TEST(Parse, CsvAndPairsSeparators) {
  const auto csv = port(
                       "source: \"stdin:\"\n    decoder: csv\n    separator: \";\"\n"
                       "    columns: [time, link, rssi_dbm, '-']")
                       .decoder;
  EXPECT_EQ(csv.separator, ";");
  EXPECT_EQ(csv.columns.size(), 4U);
  const auto pairs = port("source: \"stdin:\"\n    decoder: pairs\n    separator: \" |\"").decoder;
  EXPECT_EQ(pairs.pair_separators, " |");
}

TEST(Parse, PollBytes) {
  const auto poll =
      port(
          "source: tcp://h:1\n"
          "    poll: { send: \"A\\r\\n\\t\\x02\\xA5\\xff\", every: 90s, quiet_before: 0s }")
          .poll;
  ASSERT_TRUE(poll);
  EXPECT_EQ(poll->send, "A\r\n\t\x02\xA5\xFF");
  EXPECT_EQ(poll->every, Duration(90s));
  EXPECT_EQ(poll->quiet_before, Duration(0s));
}

TEST(Parse, RadioKeys) {
  const auto radio =
      link(
          "radio: { rssi: signal, seq: messages, snr_ceiling_db: 10, level_offset_db: -1.5, "
          "far_level_offset_db: +2, seq_bits: 8, counter_bits: 32, bit_rate_bps: 9600, "
          "modulation: fsk, bandwidth_hz: 1.25e4 }")
          .radio;
  EXPECT_EQ(radio.rssi, RadioSettings::Rssi::wanted);
  EXPECT_EQ(radio.seq, RadioSettings::Seq::messages);
  EXPECT_EQ(radio.snr_ceiling_db, 10.0);
  EXPECT_EQ(radio.level_offset_db, -1.5);
  EXPECT_EQ(radio.far_level_offset_db, 2.0);
  EXPECT_EQ(radio.seq_bits, 8);
  EXPECT_EQ(radio.counter_bits, 32);
  EXPECT_EQ(radio.bit_rate_bps, 9600.0);
  EXPECT_EQ(radio.modulation, RadioSettings::Modulation::fsk);
  EXPECT_EQ(radio.bandwidth_hz, 12500.0);
}

TEST(Parse, AlertKeys) {
  const auto alerts =
      link(
          "alerts: { deficit_db: { warning: 6, critical: 12, clear_below: 1, hold: 2h }, "
          "retry_ratio: { warning: 0.2 }, latency_s: { warning: 2, critical: 5 }, "
          "foreign_per_hour: off, forecast_horizon: 60d }")
          .alerts;
  EXPECT_EQ(alerts.deficit_db.critical, 12.0);
  EXPECT_EQ(alerts.deficit_db.clear_by, 1.0);
  EXPECT_EQ(alerts.deficit_db.hold, Duration(2h));
  EXPECT_EQ(alerts.retry_ratio.warning, 0.2);
  EXPECT_EQ(alerts.latency_s.critical, 5.0);
  EXPECT_FALSE(alerts.foreign_per_hour.warning);
  EXPECT_EQ(alerts.forecast_horizon, Duration(24h * 60));
}

TEST(Parse, HttpAddresses) {
  EXPECT_EQ(good("http: { listen: \"[::]:80\" }\n").http.address, "::");
  EXPECT_EQ(good("http: { listen: \"0.0.0.0:0\" }\n").http.port, 0);
  EXPECT_EQ(good("http: { listen: localhost:9 }\n").http.address, "127.0.0.1");
  EXPECT_TRUE(good("http: { listen: \"\", reload: true }\n").http.disabled);
}

TEST(Parse, SeriesOfHopChannelsAreOffUnlessAskedFor) {
  EXPECT_FALSE(good("links: [{ name: a }]\n").metrics.channels);
  EXPECT_FALSE(good("metrics: { channels: false }\n").metrics.channels);
  EXPECT_TRUE(good("metrics: { channels: true }\n").metrics.channels);
}

TEST(Parse, NamesInAnyScript) {
  const auto settings =
      good("links:\n  - name: \"Mühlweg \\\"oben\\\" 水門\"\n  - name: 7\n  - name: " +
           std::string(128, 'x') + "\n");
  ASSERT_EQ(settings.links.size(), 3U);
  EXPECT_EQ(settings.links[0].name, "Mühlweg \"oben\" 水門");
  EXPECT_EQ(settings.links[1].name, "7");
  EXPECT_FALSE(parse("links:\n  - name: " + std::string(129, 'x') + "\n", "f.yaml").ok());
}

TEST(Parse, SectionsLeftEmpty) {
  const auto settings =
      good("ports:\nhttp:\ndefaults:\nlinks:\n  - name: a\n    radio:\n    upkeep:\n");
  EXPECT_EQ(settings.links.size(), 1U);
}

TEST(Parse, OneRadioNameOnTwoPorts) {
  const auto settings = good(
      "ports: [{ name: p, source: \"stdin:\" }, { name: q, source: \"file:x\" }]\n"
      "links: [{ name: a, match: { port: p, link: 1 } }, { name: b, match: { port: q, link: 1 } "
      "}]\n");
  EXPECT_EQ(settings.links.size(), 2U);
}

TEST(Parse, AliasesAndLineEndsOfOtherSystems) {
  const auto settings = good(
      "links:\r\n  - name: a\r\n    radio: &r { seq_bits: 8 }\r\n"
      "  - name: b\r\n    radio: *r\r\n");
  ASSERT_EQ(settings.links.size(), 2U);
  EXPECT_EQ(settings.links[1].radio.seq_bits, 8);
}

TEST(Load, ExamplesOfTheDistribution) {
  for (const char* name : {"minimal", "pattern", "tarn-valley"}) {
    const auto settings = good_file("/../../deploy/examples/" + std::string(name) + ".yaml");
    EXPECT_TRUE(warnings(settings).empty()) << name << ": " << warnings(settings)[0];
  }
  const auto valley = good_file("/../../deploy/examples/tarn-valley.yaml");
  ASSERT_EQ(valley.links.size(), 4U);
  EXPECT_EQ(valley.links[3].alerts.margin_db.warning, 12.0);
  EXPECT_EQ(valley.links[3].alerts.margin_db.critical, 5.0);
  EXPECT_EQ(valley.links[1].budget.far.power_dbm, 14.0);
  EXPECT_EQ(valley.links[1].budget.far.height_m, 9.0);
}

TEST(Load, MissingFileDirectoryAndTooLarge) {
  const auto missing = load("/nonexistent/f.yaml");
  ASSERT_FALSE(missing.ok());
  EXPECT_EQ(missing.error().message,
            "/nonexistent/f.yaml: cannot be read: No such file or directory");
  const auto directory = load("/");
  ASSERT_FALSE(directory.ok());
  EXPECT_EQ(directory.error().message, "/: cannot be read: Is a directory");
  const auto endless = load("/dev/zero");
  ASSERT_FALSE(endless.ok());
  EXPECT_EQ(endless.error().message, "/dev/zero: larger than 1 MiB: no configuration is");
}

}  // namespace
}  // namespace fadeward::config::parse_test
