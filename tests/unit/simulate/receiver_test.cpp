#include "fadeward/simulate/receiver.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

namespace fadeward::simulate::receiver_test {
namespace {

constexpr std::uint64_t kSeed = 868;

std::vector<std::vector<double>> read_csv(const std::string& name) {
  std::ifstream file(std::string(FADEWARD_TEST_DATA) + "/standards/" + name);
  EXPECT_TRUE(file) << name;
  std::vector<std::vector<double>> rows;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || line[0] == '#' || std::isalpha(static_cast<unsigned char>(line[0])))
      continue;
    std::vector<double> row;
    std::stringstream cells(line);
    for (std::string cell; std::getline(cells, cell, ',');) row.push_back(std::stod(cell));
    rows.push_back(row);
  }
  return rows;
}

// Probability of a fade of F dB below the mean power by the Marcum Q function; row "-inf" is
// Rayleigh, 1 - exp(-10^(-F/10)).
TEST(RiceFading, FadesAsOftenAsTheMarcumQFunctionSays) {
  SCOPED_TRACE(kSeed);
  struct Fade {
    double fade_db, probability, power;
    int below = 0;
  };
  std::map<double, std::vector<Fade>> by_k;
  for (const auto& row : read_csv("rice_fade_probability_computed.csv")) {
    by_k[row.at(0)].push_back({row.at(1), row.at(2), std::pow(10.0, -row.at(1) / 10.0)});
  }
  ASSERT_EQ(by_k.size(), 7U);
  constexpr int kDraws = 1'000'000;
  for (auto& [k_db, fades] : by_k) {
    Random random(kSeed);
    const RiceFading fading(k_db);
    for (int i = 0; i < kDraws; ++i) {
      const double power = fading.draw(random);
      for (Fade& fade : fades) fade.below += power < fade.power ? 1 : 0;
    }
    for (const Fade& fade : fades) {
      const double p = fade.probability;
      EXPECT_NEAR(fade.below / static_cast<double>(kDraws), p,
                  5 * std::sqrt(p * (1 - p) / kDraws) + 3e-6)
          << "K " << k_db << " dB, fade " << fade.fade_db << " dB";
    }
  }
}

// Mean 1 by definition; variance of the power (2K + 1) / (K + 1)^2 (Greenstein and others 1999).
TEST(RiceFading, PowerHasTheMomentsOfRice) {
  SCOPED_TRACE(kSeed);
  for (const double k_db : {0.0, 6.0, 10.0, 15.0}) {
    Random random(kSeed);
    const RiceFading fading(k_db);
    constexpr int kDraws = 1'000'000;
    double sum = 0, squares = 0;
    for (int i = 0; i < kDraws; ++i) {
      const double power = fading.draw(random);
      sum += power;
      squares += power * power;
    }
    const double k = std::pow(10.0, k_db / 10.0);
    const double variance = (2 * k + 1) / ((k + 1) * (k + 1));
    const double mean = sum / kDraws;
    EXPECT_NEAR(mean, 1.0, 5 * std::sqrt(variance / kDraws)) << k_db;
    EXPECT_NEAR((squares / kDraws - mean * mean) / variance, 1.0, 0.02) << k_db;
  }
}

struct Mean {
  double rssi_dbm = 0, snr_db = 0, noise_dbm = 0, rssi_variance = 0, snr_variance = 0,
         noise_variance = 0;
};

Mean many_readings(double signal_dbm, double noise_dbm, int draws) {
  Random random(kSeed);
  double r = 0, s = 0, n = 0, rr = 0, ss = 0, nn = 0;
  for (int i = 0; i < draws; ++i) {
    const Reading reading = measure(signal_dbm, noise_dbm, random);
    const double snr_db = reading.snr_quarter_db * 0.25;
    r += reading.rssi_dbm;
    s += snr_db;
    n += reading.noise_dbm;
    rr += reading.rssi_dbm * reading.rssi_dbm;
    ss += snr_db * snr_db;
    nn += reading.noise_dbm * reading.noise_dbm;
  }
  const double m = draws;
  return {
      r / m, s / m, n / m, rr / m - r / m * r / m, ss / m - s / m * s / m, nn / m - n / m * n / m};
}

// Wanted signal from RSSI and SNR: S = RSSI + SNR - 10 lg(1 + 10^(SNR/10)) where RSSI is the total
// power in the channel, so the reading must be the inverse of it. Averaged over many places within
// the 1 dB step, since a mean at one place keeps part of the step's error.
TEST(Measure, RssiIsTheSumOfSignalAndNoise) {
  SCOPED_TRACE(kSeed);
  for (const double snr_db : {10.0, 5.0, 0.0, -5.0, -10.0}) {
    double error = 0;
    constexpr int kPlaces = 40;
    for (int place = 0; place < kPlaces; ++place) {
      const double signal_dbm = -108.0 + place / static_cast<double>(kPlaces);
      const Mean mean = many_readings(signal_dbm, signal_dbm - snr_db, 4'000);
      const double back = mean.rssi_dbm + snr_db - 10 * std::log10(1 + std::pow(10.0, snr_db / 10));
      error += back - signal_dbm;
    }
    EXPECT_NEAR(error / kPlaces, 0.0, 0.01) << "SNR " << snr_db;
  }
}

// A step q adds a variance of q^2 / 12 (Bennett 1948) to that of the estimator: 0.3, 0.5 and 0.7
// dB. The small noise of RSSI does not fill its step, so it is averaged over places within the
// step.
TEST(Measure, StepsAndNoiseHaveTheVarianceOfBennett) {
  SCOPED_TRACE(kSeed);
  const Mean one = many_readings(-112.3, -108.6, 200'000);
  EXPECT_NEAR(one.snr_db, -3.7, 0.01);
  EXPECT_NEAR(one.snr_variance, 0.25 + 0.0625 / 12, 0.005);
  EXPECT_NEAR(one.noise_dbm, -108.6, 0.01);
  EXPECT_NEAR(one.noise_variance, 0.49 + 1.0 / 12, 0.01);

  double squares = 0;
  constexpr int kPlaces = 50;
  for (int place = 0; place < kPlaces; ++place) {
    const double signal_dbm = -90.0 + place / static_cast<double>(kPlaces);
    const Mean mean = many_readings(signal_dbm, -150, 4'000);
    const double off = mean.rssi_dbm - signal_dbm;
    squares += mean.rssi_variance + off * off;
  }
  EXPECT_NEAR(squares / kPlaces, 0.09 + 1.0 / 12, 0.004);
}

TEST(SaturatedSnr, FollowsTheLevelBelowAndNothingAboveTheCeiling) {
  double last = -1e9;
  for (double snr_db = -30; snr_db <= 60; snr_db += 0.25) {
    const double reported = saturated_snr_db(snr_db);
    EXPECT_GE(reported, last);
    EXPECT_LE(reported, kSnrCeilingDb);
    if (snr_db <= 0) {
      EXPECT_NEAR(reported, snr_db, 0.01);
    }
    if (snr_db >= 20) {
      EXPECT_NEAR(reported, kSnrCeilingDb, 0.01);
    }
    last = reported;
  }
}

TEST(SuccessProbability, IsALogisticAroundTheRequiredSnr) {
  EXPECT_DOUBLE_EQ(success_probability(0), 0.5);
  for (const double margin_db : {0.1, 0.5, 1.0, 3.0}) {
    EXPECT_NEAR(success_probability(margin_db) + success_probability(-margin_db), 1.0, 1e-12);
  }
  EXPECT_GT(success_probability(5), 0.999999);
  EXPECT_LT(success_probability(-5), 1e-6);
  EXPECT_EQ(success_probability(-1e6), 0.0);
}

// Demodulator limits by spreading factor as the transceiver data sheet gives them.
TEST(RequiredSnr, IsThatOfTheDataSheet) {
  const auto rows = read_csv("css_receiver_limits.csv");
  ASSERT_EQ(rows.size(), 7U);
  for (const auto& row : rows) EXPECT_EQ(required_snr_db(static_cast<int>(row.at(0))), row.at(1));
  EXPECT_EQ(required_snr_db(3), -5.0);
  EXPECT_EQ(required_snr_db(99), -20.0);
}

}  // namespace
}  // namespace fadeward::simulate::receiver_test
