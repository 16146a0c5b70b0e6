// What `fadeward check` tells: the words an operator looks for.
#include "fadeward/config/describe.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "fadeward/config/parse.hpp"

namespace fadeward::config::describe_test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;

Settings good(const std::string& yaml) {
  auto parsed = parse(yaml, "f.yaml");
  EXPECT_TRUE(parsed.ok()) << (parsed.ok() ? "" : parsed.error().message);
  return parsed.ok() ? *parsed : Settings{};
}

const std::string kBudget = "budget: { inbound_signal_dbm: -100 }";
const std::string kPort = "ports: [{ name: mast, source: \"stdin:\" }]\n";

TEST(Describe, FillsInTheDefaults) {
  const auto text = describe(good(kPort + "links: [{ name: weir, " + kBudget + " }]\n"));
  EXPECT_THAT(text, HasSubstr("f.yaml: 1 port, 1 link\n"));
  EXPECT_THAT(text, HasSubstr("127.0.0.1:10868, this machine only"));
  EXPECT_THAT(text, HasSubstr("Port mast\n  source          standard input\n"));
  EXPECT_THAT(text, HasSubstr("Link weir\n"));
  EXPECT_THAT(text,
              HasSubstr("  margin          warning below 10 dB, critical below 5 dB, clears 2 "
                        "dB beyond, held 15m\n"));
  EXPECT_THAT(text, HasSubstr("  loss            warning above 10 %, critical above 30 %"));
  EXPECT_THAT(text, HasSubstr("  latency         off\n"));
  EXPECT_THAT(text, Not(HasSubstr("Warnings")));
  EXPECT_EQ(text.back(), '\n');
}

TEST(Describe, SeriesOfHopChannelsAreToldWhereAskedFor) {
  EXPECT_THAT(describe(good("links: [{ name: a }]\nmetrics: { channels: true }\n")),
              HasSubstr("metrics         with a series for each hop channel\n"));
  EXPECT_THAT(describe(good("links: [{ name: a }]\n")), Not(HasSubstr("hop channel")));
}

// Thermal noise of 125 kHz at 290 K is -123.0 dBm (-174 dBm/Hz + 51 dB); 6 dB of noise figure.
TEST(Describe, NoiseFloorAndRequirement) {
  const auto text =
      describe(good("links: [{ name: a, radio: { bandwidth_hz: 125000, noise_figure_db: 6, "
                    "required_snr_db: -7.5 } }]\n"));
  EXPECT_THAT(text, HasSubstr("-117 dBm (thermal in 125 kHz + noise figure 6 dB)"));
  EXPECT_THAT(text, HasSubstr("  required        SNR of -7.5 dB\n"));
  const auto bare = describe(good("links: [{ name: a }]\n"));
  EXPECT_THAT(bare, HasSubstr("no noise figure is given"));
  EXPECT_THAT(bare, Not(HasSubstr("  required")));
}

TEST(Describe, WhatCountsAsReserve) {
  const auto text = describe(
      good("links: [{ name: a, radio: { spreading_factor: 7, bandwidth_hz: 125000, max_power_dbm: "
           "27, slowest: { spreading_factor: 12, bandwidth_hz: 62500 } } }]\n"));
  EXPECT_THAT(text,
              HasSubstr("  reserve         counts with the margin: unused power up to 27 dBm, "
                        "gain of the slowest rate (spreading factor 12, 62.5 kHz)\n"));
  EXPECT_THAT(describe(good("links: [{ name: a }]\n")), Not(HasSubstr("  reserve")));
}

TEST(Describe, SilenceFollowsTheExpectedInterval) {
  const auto timing = [](const std::string& keys) {
    return describe(good("links: [{ name: a" + keys + " }]\n"));
  };
  EXPECT_THAT(timing(", expect: 10s"), HasSubstr("one every 10s, silent after 15m"));
  EXPECT_THAT(timing(", expect: 1h"), HasSubstr("one every 1h, silent after 3h"));
  EXPECT_THAT(timing(", expect: 1h, alerts: { silent: 5h }"), HasSubstr("silent after 5h"));
  EXPECT_THAT(timing(""), HasSubstr("interval is learned"));
}

TEST(Describe, PortsInWords) {
  const auto text = describe(good(R"(ports:
  - name: mast
    source: serial:/dev/ttyS0
    serial: { baud: 4800, parity: even, stop_bits: 2 }
    framing: { kind: cobs, crc: crc32 }
    decoder: packed
    packed: [{ name: w, at: 0, type: u16 }]
    fields: { rssi_dbm: { from: w, bits: "7..0", scale: -0.5, offset: -20 } }
    poll: { send: "st\r", every: 30s }
    silent: 5m
)"));
  EXPECT_THAT(text,
              HasSubstr("serial device /dev/ttyS0, 4800 baud, 8 data bits, even parity, 2 stop "
                        "bits, no flow control"));
  EXPECT_THAT(text, HasSubstr("COBS frames, checksum CRC-32, at most 65536 bytes"));
  EXPECT_THAT(text, HasSubstr("    rssi_dbm      = w bits 7..0 * -0.5 - 20\n"));
  EXPECT_THAT(text, HasSubstr("sends \"st\\r\" every 30s after 1s of quiet"));
  EXPECT_THAT(text, HasSubstr("when closed, or without a byte for 5m"));
}

TEST(Describe, ForeignTextStaysOnItsLine) {
  Settings settings;
  settings.file = "f\x1b[2J.yaml";
  settings.links.resize(1);
  settings.links[0].name = "a\nb";
  const auto text = describe(settings);
  EXPECT_EQ(text.find('\x1b'), std::string::npos);
  EXPECT_THAT(text, HasSubstr("Link a\\x0ab\n"));
}

TEST(Warnings, NoneForASoundFile) {
  EXPECT_THAT(warnings(good(kPort + "links: [{ name: a, " + kBudget + " }]\n")), IsEmpty());
}

TEST(Warnings, OnlyReplayWithoutPorts) {
  EXPECT_THAT(warnings(good("links: [{ name: a, " + kBudget + " }]\n")),
              ElementsAre("no ports: only replay can be used"));
}

TEST(Warnings, LinkOfAnyPort) {
  const auto found =
      warnings(good("ports: [{ name: p, source: \"stdin:\" }, { name: q, source: \"file:x\" }]\n"
                    "links: [{ name: a, " +
                    kBudget + " }]\n"));
  EXPECT_THAT(found, ElementsAre(HasSubstr("link a matches any port: with 2 ports")));
}

TEST(Warnings, BudgetRateAndPort) {
  const auto found =
      warnings(good("ports: [{ name: p, source: \"stdin:\" }, { name: q, source: \"file:x\" }]\n"
                    "links: [{ name: a, match: { port: p }, radio: { modulation: css } }]\n"));
  EXPECT_THAT(found,
              ElementsAre(HasSubstr("port q carries no link"), HasSubstr("link a has no budget"),
                          HasSubstr("link a uses css without spreading_factor and bandwidth_hz")));
}

TEST(Warnings, HttpBeyondThisMachine) {
  const auto found = [](const std::string& http) {
    return warnings(good(kPort + http + "links: [{ name: a, " + kBudget + " }]\n"));
  };
  EXPECT_THAT(
      found("http: { listen: \"0.0.0.0:10868\" }\n"),
      ElementsAre(HasSubstr("http at 0.0.0.0:10868 is reachable from other machines without "
                            "TLS or password")));
  EXPECT_THAT(found("http: { listen: \"0.0.0.0:10868\", web_config: w.yaml }\n"), IsEmpty());
  EXPECT_THAT(found("http: { listen: \"[::1]:10868\" }\n"), IsEmpty());
}

TEST(Warnings, BackslashThatYamlDidNotResolve) {
  const auto found = [](const std::string& send) {
    return warnings(good("ports: [{ name: p, source: tcp://h:1, poll: { send: " + send +
                         " } }]\nlinks: [{ name: a, " + kBudget + " }]\n"));
  };
  EXPECT_THAT(found("'st\\r'"), ElementsAre(HasSubstr("with a backslash")));
  EXPECT_THAT(found("\"st\\r\""), IsEmpty());
}

TEST(Warnings, OfAFleetStayReadable) {
  std::string yaml = kPort + "links:\n";
  for (int i = 0; i < 50; ++i) yaml += "  - name: l" + std::to_string(i) + "\n";
  const auto found = warnings(good(yaml));
  ASSERT_EQ(found.size(), 21U);
  EXPECT_EQ(found.back(), "and 30 more warnings about links");
}

TEST(Describe, TellsEveryKeyOfThePushesButNoSecret) {
  const auto settings = good(kPort + R"(
push:
  alertmanagers:
    - "http://127.0.0.1:9093"
    - { url: "https://am.example/x?token=hush", user: mill, password_file: /p, ca_file: /ca.pem }
  remote_write: { url: "http://r.example/w", user: me, password_file: /q, interval: 30s, max_sample_age: 2h }
links: [{ name: weir, )" + kBudget + " }]\n");
  const auto text = describe(settings);
  EXPECT_THAT(text, HasSubstr("alerts to http://127.0.0.1:9093,"));
  EXPECT_THAT(text, HasSubstr("alerts to https://am.example/x?... (as user mill with the password in /p, "
                              "authorities of /ca.pem)"));
  EXPECT_THAT(text, HasSubstr("samples to http://r.example/w (as user me with the password in /q) every 30s"));
  EXPECT_THAT(text, Not(HasSubstr("hush")));
  EXPECT_THAT(warnings(settings),
              ::testing::IsSupersetOf({HasSubstr("http://r.example/w: the password travels in the clear"),
                                       HasSubstr("without history.dir"), HasSubstr("max_sample_age")}));
}

}  // namespace
}  // namespace fadeward::config::describe_test
