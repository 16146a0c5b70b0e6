#include "fadeward/budget/time_on_air.hpp"

#include <gtest/gtest.h>

#include "support/standard_csv.hpp"

namespace fadeward::budget::time_on_air_test {
namespace {

// Published worksheet example: 13 bytes, spreading factor 9, 125 kHz, 4/5, preamble 8, explicit
// header, CRC: symbol 4.096 ms, preamble 50.176 ms, 28 payload symbols, in all 164.864 ms.
TEST(TimeOnAir, GivesThePublishedExample) {
  const CssFrame frame{.spreading_factor = 9, .payload_bytes = 13, .low_rate_optimised = false};
  EXPECT_NEAR(css_time_on_air_s(frame).value(), 0.164864, 1e-12);
}

// The datasheet formula, evaluated independently over 72 combinations.
TEST(TimeOnAir, AgreesWithAnIndependentTable) {
  const auto rows = test::read_csv("standards/css_time_on_air_computed.csv");
  ASSERT_EQ(rows.size(), 72u);
  for (const auto& row : rows) {
    CssFrame frame;
    frame.spreading_factor = static_cast<int>(row.at("sf"));
    frame.bandwidth_hz = row.at("bw_hz");
    frame.payload_bytes = static_cast<std::size_t>(row.at("payload"));
    frame.coding_rate = static_cast<int>(row.at("cr"));
    frame.preamble_symbols = static_cast<int>(row.at("npreamble"));
    frame.explicit_header = row.at("implicit") == 0;
    frame.crc = row.at("crc") != 0;
    EXPECT_NEAR(css_time_on_air_s(frame).value() * 1e3, row.at("toa_ms"), 1e-3)
        << frame.spreading_factor << ' ' << frame.bandwidth_hz << ' ' << frame.payload_bytes;
  }
}

// SX1272 datasheet p. 19: 0.24 to 37.5 kbit/s; regional parameters RP002-1.0.3 print 5470, 3125,
// 1760, 980, 440 and 250 bit/s for spreading factors 7 to 12 at 125 kHz (rounded).
TEST(BitRate, AgreesWithPublishedFigures) {
  const double printed[] = {5470, 3125, 1760, 980, 440, 250};
  for (int factor = 7; factor <= 12; ++factor) {
    const CssFrame frame{.spreading_factor = factor};
    EXPECT_NEAR(css_bit_rate_bps(frame).value(), printed[factor - 7], 0.025 * printed[factor - 7])
        << factor;
  }
  const CssFrame fastest{.spreading_factor = 6, .bandwidth_hz = 500'000};
  EXPECT_NEAR(css_bit_rate_bps(fastest).value(), 37'500, 1e-9);
}

// By hand: 20 octets and 10 around them are 240 bits.
TEST(TimeOnAir, OfPlainFrequencyShift) {
  EXPECT_NEAR(fsk_time_on_air_s(9600, 20).value(), 240.0 / 9600, 1e-12);
  EXPECT_FALSE(fsk_time_on_air_s(0, 20));
  EXPECT_FALSE(fsk_time_on_air_s(-9600, 20));
}

TEST(TimeOnAir, RefusesWhatNoRadioSends) {
  EXPECT_FALSE(css_time_on_air_s({.spreading_factor = 13}));
  EXPECT_FALSE(css_time_on_air_s({.spreading_factor = 4}));
  EXPECT_FALSE(css_time_on_air_s({.bandwidth_hz = 0}));
  EXPECT_FALSE(css_time_on_air_s({.payload_bytes = 256}));
  EXPECT_FALSE(css_time_on_air_s({.coding_rate = 5}));
  EXPECT_FALSE(css_time_on_air_s({.preamble_symbols = 0}));
  EXPECT_FALSE(css_bit_rate_bps({.coding_rate = 0}));
}

}  // namespace
}  // namespace fadeward::budget::time_on_air_test
