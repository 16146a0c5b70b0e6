#include "fadeward/link/separation.hpp"

#include <gtest/gtest.h>

#include "fadeward/base/decibel.hpp"

namespace fadeward::link::separation_test {
namespace {

// "Estimated signal power" as two published forms give it: RSSI - 10 lg(1 + 10^(-SNR/10)).
TEST(Separation, EstimatedSignalPower) {
  const struct { double rssi, snr, signal; } rows[] = {
      {-100, 10, -100.4139}, {-100, 0, -103.0103}, {-110, -5, -116.1933}, {-115, -10, -125.4139},
      {-118, -15, -133.1352}, {-120, -20, -140.0432}, {-90, 5, -91.1933}};
  for (const auto& row : rows) {
    const auto got = separate({row.rssi, row.snr, {}}, {});
    ASSERT_TRUE(got);
    EXPECT_NEAR(got->signal_dbm, row.signal, 1e-4);
    EXPECT_NEAR(got->noise_dbm, row.signal - row.snr, 1e-4);
    EXPECT_EQ(got->source, NoiseSource::snr);
  }
}

TEST(Separation, TableAndFormulaAgree) {
  for (int i = -1300; i <= 1300; ++i) {
    const double snr = i * 0.025;
    EXPECT_NEAR(excess_over_signal_db(snr), db_from_ratio(1 + ratio_from_db(-snr)), 1e-12) << snr;
  }
}

// Whatever signal and noise are, their sum taken apart again must give them back.
TEST(Separation, UndoesTheSum) {
  for (double signal = -130; signal <= -60; signal += 3.7)
    for (double noise = -120; noise <= -95; noise += 2.3) {
      if (signal - noise < 0.5) continue;
      const double total = add_dbm(signal, noise);
      const auto idle = separate({total, {}, noise}, {});
      EXPECT_NEAR(idle->signal_dbm, signal, 1e-6) << signal << " " << noise;
      EXPECT_EQ(idle->source, NoiseSource::idle);
      const auto by_snr = separate({total, signal - noise, {}}, {});
      EXPECT_NEAR(by_snr->signal_dbm, signal, 1e-6);
      EXPECT_NEAR(by_snr->noise_dbm, noise, 1e-6);
    }
}

TEST(Separation, SaturatedSnrSaysNothingOfNoise) {
  ReadingRules rules;
  rules.snr_ceiling_db = 9;
  rules.receiver_noise_dbm = -117;
  const auto assumed = separate({-70, 10, {}}, rules);
  EXPECT_NEAR(assumed->signal_dbm, -70, 0.01);
  EXPECT_EQ(assumed->source, NoiseSource::assumed);
  EXPECT_DOUBLE_EQ(assumed->noise_dbm, -117);
  rules.recent_noise_dbm = -110;
  EXPECT_DOUBLE_EQ(separate({-70, 10, {}}, rules)->noise_dbm, -110);
  const auto idle = separate({-70, 10, -112}, rules);
  EXPECT_EQ(idle->source, NoiseSource::idle);
  EXPECT_DOUBLE_EQ(idle->noise_dbm, -112);
}

// A receiver that stops at 8 dB, which nobody has told: -100 dBm total over -117 dBm is a signal of
// -100.0875 dBm (10 lg(10^-10 - 10^-11.7)), not -100.64 as an SNR of 8 dB would have it.
TEST(Separation, AnSnrThatHasStoppedFollowingIsNotBelieved) {
  ReadingRules rules;
  const auto stopped = separate({-100, 8, -117}, rules);
  ASSERT_TRUE(stopped);
  EXPECT_NEAR(stopped->signal_dbm, -100.0875, 1e-3);
  // Interference within the frame: a low SNR counts whatever the idle channel says.
  const auto met = separate({-100, 0, -117}, rules);
  EXPECT_NEAR(met->signal_dbm, -103.0103, 1e-3);
}

TEST(Separation, WantedRssiIsTheSignal) {
  ReadingRules rules;
  rules.rssi_is_total = false;
  rules.level_offset_db = 2;
  const auto got = separate({-115, -10, {}}, rules);
  EXPECT_DOUBLE_EQ(got->signal_dbm, -113);
  EXPECT_DOUBLE_EQ(got->noise_dbm, -103);
}

TEST(Separation, LevelAtTheNoiseIsABound) {
  const auto got = separate({-117, {}, -117}, {});
  EXPECT_TRUE(got->signal_is_bound);
  EXPECT_LT(got->signal_dbm, -120);
  EXPECT_FALSE(separate({-100, {}, -117}, {})->signal_is_bound);
}

TEST(Separation, SnrAloneIsRelativeToTheReceiver) {
  const auto got = separate({{}, 3.0, {}}, {});
  EXPECT_DOUBLE_EQ(got->signal_dbm - got->noise_dbm, 3.0);
  EXPECT_FALSE(separate({{}, {}, -117}, {}));
}

}  // namespace
}  // namespace fadeward::link::separation_test
