#include "fadeward/budget/receiver.hpp"

#include <gtest/gtest.h>

#include <limits>

namespace fadeward::budget::receiver_test {
namespace {

RadioSettings css(int factor, double bandwidth_hz) {
  RadioSettings radio;
  radio.modulation = RadioSettings::Modulation::css;
  radio.spreading_factor = factor;
  radio.bandwidth_hz = bandwidth_hz;
  radio.noise_figure_db = 6;
  return radio;
}

// SX1272 datasheet, demodulator SNR limits.
TEST(CssRequiredSnr, FollowsThePublishedTable) {
  const double limits[] = {-5, -7.5, -10, -12.5, -15, -17.5, -20};
  for (int factor = 6; factor <= 12; ++factor)
    EXPECT_DOUBLE_EQ(css_required_snr_db(factor).value(), limits[factor - 6]) << factor;
  EXPECT_DOUBLE_EQ(css_required_snr_db(5).value(), -2.5);
}

TEST(CssRequiredSnr, SaysNothingOutsideTheTable) {
  for (int factor :
       {-1, 0, 4, 13, std::numeric_limits<int>::max(), std::numeric_limits<int>::min()})
    EXPECT_FALSE(css_required_snr_db(factor)) << factor;
}

// k T B with k = 1.380649e-23 J/K (SI) and T = 290 K: -126.016, -123.006, -119.996, -116.985 dBm.
TEST(Receiver, HearsThermalNoisePlusItsFigure) {
  EXPECT_NEAR(receiver_of(css(7, 62'500), {}).noise_dbm, -126.016 + 6, 0.001);
  EXPECT_NEAR(receiver_of(css(7, 125'000), {}).noise_dbm, -123.006 + 6, 0.001);
  EXPECT_NEAR(receiver_of(css(7, 250'000), {}).noise_dbm, -119.996 + 6, 0.001);
  EXPECT_NEAR(receiver_of(css(7, 500'000), {}).noise_dbm, -116.985 + 6, 0.001);
}

// SX1272 datasheet p. 19, sensitivity at 125 kHz (915 MHz, packet error ratio 1 %). Thermal noise,
// 6 dB and the SNR limit agree with it to 1.5 dB at this bandwidth.
TEST(Receiver, AgreesWithPublishedSensitivity) {
  const double published_dbm[] = {-121, -124, -127, -130, -133, -135, -137};
  for (int factor = 6; factor <= 12; ++factor) {
    const Receiver receiver = receiver_of(css(factor, 125'000), {});
    EXPECT_NEAR(receiver.noise_dbm + receiver.required_snr_db, published_dbm[factor - 6], 1.5)
        << factor;
    EXPECT_EQ(receiver.required_snr_source, RequiredSnrSource::css_table);
    EXPECT_FALSE(receiver.noise_assumed_figure);
  }
}

TEST(Receiver, GivenSnrWinsOverSensitivityAndTable) {
  RadioSettings radio = css(7, 125'000);
  radio.sensitivity_dbm = -124;
  radio.required_snr_db = -6;
  EXPECT_DOUBLE_EQ(receiver_of(radio, {}).required_snr_db, -6);
  EXPECT_EQ(receiver_of(radio, {}).required_snr_source, RequiredSnrSource::given);
}

TEST(Receiver, SensitivityIsNoisePlusRequiredSnr) {
  RadioSettings radio = css(7, 125'000);
  radio.sensitivity_dbm = -124;
  const Receiver receiver = receiver_of(radio, {});
  EXPECT_NEAR(receiver.noise_dbm + receiver.required_snr_db, -124, 1e-9);
  EXPECT_EQ(receiver.required_snr_source, RequiredSnrSource::sensitivity);
  // The sensitivity is one of the configured bandwidth: twice the width costs 3.01 dB.
  const Receiver wide = receiver_of(radio, {.bandwidth_hz = 250'000});
  EXPECT_NEAR(wide.noise_dbm + wide.required_snr_db, -120.99, 0.005);
}

TEST(Receiver, FrameRateShiftsWhatWasGiven) {
  RadioSettings radio = css(7, 125'000);
  radio.required_snr_db = -6;
  EXPECT_DOUBLE_EQ(receiver_of(radio, {.spreading_factor = 10}).required_snr_db, -13.5);
  EXPECT_DOUBLE_EQ(receiver_of(radio, {.spreading_factor = 7}).required_snr_db, -6);
  radio.required_snr_db.reset();
  radio.sensitivity_dbm = -124;
  const Receiver slow = receiver_of(radio, {.spreading_factor = 12});
  EXPECT_NEAR(slow.noise_dbm + slow.required_snr_db, -136.5, 1e-9);
  radio.sensitivity_dbm.reset();
  EXPECT_DOUBLE_EQ(receiver_of(radio, {.spreading_factor = 12}).required_snr_db, -20);
}

TEST(Receiver, SiteFigureWinsAndTheDefaultIsMarked) {
  RadioSettings radio = css(9, 125'000);
  EXPECT_NEAR(receiver_of(radio, {}, 3.0).noise_dbm, -123.006 + 3, 0.001);
  radio.noise_figure_db.reset();
  const Receiver assumed = receiver_of(radio, {});
  EXPECT_TRUE(assumed.noise_assumed_figure);
  EXPECT_NEAR(assumed.noise_dbm, -123.006 + 6, 0.001);
}

TEST(Receiver, FskWithoutAnySnrUsesCommonPractice) {
  RadioSettings radio;
  radio.modulation = RadioSettings::Modulation::fsk;
  radio.bit_rate_bps = 115'200;
  const Receiver receiver = receiver_of(radio, {});
  EXPECT_DOUBLE_EQ(receiver.required_snr_db, 10);
  EXPECT_EQ(receiver.required_snr_source, RequiredSnrSource::common_practice);
  EXPECT_DOUBLE_EQ(receiver.bandwidth_hz, 230'400);
  EXPECT_DOUBLE_EQ(receiver_of(radio, {.bit_rate_bps = 19'200}).bandwidth_hz, 38'400);
  radio.bandwidth_hz = 300'000;
  EXPECT_DOUBLE_EQ(receiver_of(radio, {.bit_rate_bps = 57'600}).bandwidth_hz, 150'000);
}

TEST(Receiver, SpreadingFactorAloneMeansChirps) {
  RadioSettings radio;
  radio.spreading_factor = 9;
  EXPECT_DOUBLE_EQ(receiver_of(radio, {}).required_snr_db, -12.5);
  radio.spreading_factor.reset();
  EXPECT_DOUBLE_EQ(receiver_of(radio, {.spreading_factor = 8}).required_snr_db, -10);
  radio.modulation = RadioSettings::Modulation::css;
  EXPECT_DOUBLE_EQ(receiver_of(radio, {}).required_snr_db, -7.5);
  EXPECT_EQ(receiver_of(radio, {}).required_snr_source, RequiredSnrSource::common_practice);
}

// Published transceiver datasheet limits, -7.5 dB at spreading factor 7 and -20 dB at 12; thermal
// noise by 10 log10 of the bandwidth.
TEST(SlowestRate, GainsWhatTheTableSays) {
  RadioSettings radio = css(7, 125'000);
  EXPECT_DOUBLE_EQ(slowest_rate_gain_db(radio, {}), 0) << "none is said";
  radio.slowest.spreading_factor = 12;
  EXPECT_NEAR(slowest_rate_gain_db(radio, {}), 12.5, 1e-9);
  EXPECT_NEAR(slowest_rate_gain_db(radio, {.spreading_factor = 10}), 5, 1e-9);
  EXPECT_NEAR(slowest_rate_gain_db(radio, {.spreading_factor = 12}), 0, 1e-9);
  radio.slowest.bandwidth_hz = 62'500;
  EXPECT_NEAR(slowest_rate_gain_db(radio, {}), 12.5 + 3.0103, 1e-4);
  EXPECT_NEAR(slowest_rate_gain_db(radio, {.bandwidth_hz = 250'000}), 12.5 + 6.0206, 1e-4);
  // Slower than is said already: nothing is left, and nothing is owed.
  radio.slowest = {.spreading_factor = 9, .bandwidth_hz = {}, .bit_rate_bps = {}};
  EXPECT_DOUBLE_EQ(slowest_rate_gain_db(radio, {.spreading_factor = 11}), 0);
}

TEST(SlowestRate, FollowsTheBitRateWithoutChirps) {
  RadioSettings radio;
  radio.modulation = RadioSettings::Modulation::fsk;
  radio.bit_rate_bps = 115'200;
  radio.slowest.bit_rate_bps = 28'800;
  EXPECT_NEAR(slowest_rate_gain_db(radio, {}), 6.0206, 1e-4);
  EXPECT_NEAR(slowest_rate_gain_db(radio, {.bit_rate_bps = 57'600}), 3.0103, 1e-4);
  radio.sensitivity_dbm = -104;
  EXPECT_NEAR(slowest_rate_gain_db(radio, {}), 6.0206, 1e-4);
}

TEST(Receiver, ForeignNonsenseIsNotSaid) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const RadioSettings radio = css(7, 125'000);
  const Receiver plain = receiver_of(radio, {});
  for (double width : {0.0, -1.0, nan, std::numeric_limits<double>::infinity()}) {
    const Receiver receiver = receiver_of(radio, {99, width, width}, nan);
    EXPECT_DOUBLE_EQ(receiver.noise_dbm, plain.noise_dbm);
    EXPECT_DOUBLE_EQ(receiver.required_snr_db, plain.required_snr_db);
  }
}

// ITU-R P.372: business area at 915 MHz, 44.3 - 12.3 lg 915 = 7.875 dB. Noise factors by hand:
// 3.981 + 6.131 - 1 = 9.112, 3.596 dB above the 6 dB of the receiver; behind 3 dB of feeder
// 3.981 + 5.131 / 1.995 = 6.553, 2.164 dB above.
TEST(ManMadeNoise, AddsAsNoiseFactorsDo) {
  EXPECT_NEAR(man_made_rise_db(6, 7.875, 0), 3.596, 0.001);
  EXPECT_NEAR(man_made_rise_db(6, 7.875, 3), 2.164, 0.001);
  EXPECT_NEAR(man_made_rise_db(0, 20, 0), 20, 1e-9);  // a receiver without noise hears all of it
  EXPECT_EQ(man_made_rise_db(6, 0, 0), 0);
  EXPECT_EQ(man_made_rise_db(6, -5, 0), 0);
}

}  // namespace
}  // namespace fadeward::budget::receiver_test
