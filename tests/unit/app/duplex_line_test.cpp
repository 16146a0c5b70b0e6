#include "fadeward/app/duplex_line.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace fadeward::app::duplex_line_test {
namespace {

using testing::HasSubstr;
using testing::Not;

PortWords words(std::string port) {
  PortWords out;
  out.port = std::move(port);
  return out;
}

std::string refusal(const PortWords& words, const Settings* settings = nullptr) {
  const auto port = port_of(words, settings);
  return port ? "taken" : port.error().message;
}

Settings one_port(SerialSettings serial) {
  Settings settings;
  settings.ports.resize(1);
  settings.ports[0].name = "data";
  settings.ports[0].source = SourceKind::serial;
  settings.ports[0].path = "/dev/radio";
  settings.ports[0].serial = serial;
  return settings;
}

TEST(PortOf, WordsOfTheCommandLine) {
  PortWords serial = words("serial:dev/my radio");   // relative to the shell
  serial.baud = 57600;
  serial.parity = "even";
  serial.flow = "rts_cts";
  const auto port = port_of(serial, nullptr);
  ASSERT_TRUE(port) << port.error().message;
  EXPECT_EQ(port->path, "dev/my radio");
  EXPECT_EQ(port->serial.baud, 57600U);
  EXPECT_EQ(port->serial.parity, SerialSettings::Parity::even);
  EXPECT_EQ(port->serial.flow, SerialSettings::Flow::rts_cts);
  const auto tcp = port_of(words("tcp://127.0.0.1:4001"), nullptr);
  ASSERT_TRUE(tcp) << tcp.error().message;
  EXPECT_EQ(tcp->source, SourceKind::tcp);
  EXPECT_EQ(tcp->tcp_udp_port, 4001);
}

TEST(PortOf, ANameOfTheConfiguration) {
  SerialSettings line;
  line.baud = 19200;
  const Settings settings = one_port(line);
  PortWords named = words("data");
  EXPECT_EQ(port_of(named, &settings)->path, "/dev/radio");
  EXPECT_EQ(port_of(named, &settings)->serial.baud, 19200U);
  named.baud = 38400;
  EXPECT_EQ(port_of(named, &settings)->serial.baud, 38400U);
  named.parity = "odd";
  EXPECT_THAT(refusal(named, &settings), HasSubstr("--parity and --flow"));
  EXPECT_THAT(refusal(words("data")), Not(HasSubstr("taken")));
}

TEST(PortOf, OnlyWhatCarriesBothDirectionsAndEveryOctet) {
  EXPECT_THAT(refusal(words("udp://127.0.0.1:4001")), HasSubstr("both directions"));
  EXPECT_THAT(refusal(words("stdin:")), HasSubstr("both directions"));
  PortWords stopping = words("serial:/dev/radio");
  stopping.flow = "xon_xoff";
  EXPECT_THAT(refusal(stopping), HasSubstr("every octet"));
  SerialSettings line;
  line.flow = SerialSettings::Flow::xon_xoff;
  Settings settings = one_port(line);
  EXPECT_THAT(refusal(words("data"), &settings), HasSubstr("every octet"));
  line = {};
  line.data_bits = 7;
  settings = one_port(line);
  EXPECT_THAT(refusal(words("data"), &settings), HasSubstr("8 data bits"));
}

// Text of the command line goes through the notation of the file, quoted: it cannot add to it.
TEST(PortOf, WordsAreNoNotation) {
  EXPECT_THAT(refusal(words("serial:/dev/x\", serial: { baud: 3 }")), HasSubstr("taken"));
  EXPECT_THAT(refusal(words("seriell:/dev/x")), HasSubstr("serial:PATH"));
  PortWords odd = words("serial:/dev/radio");
  odd.parity = "none, baud: 3";
  EXPECT_THAT(refusal(odd), Not(HasSubstr("taken")));
  EXPECT_THAT(refusal(odd), Not(HasSubstr("command line:")));
}

}  // namespace
}  // namespace fadeward::app::duplex_line_test
