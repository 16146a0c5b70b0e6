#include "fadeward/link/saturation.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

namespace {
constexpr double kForget = 1.0 - 1.0 / 500;
constexpr std::uint32_t kJudgeEvery = 32;
constexpr double kLevelRef = -100;   // keeps the sums small
}  // namespace

bool SaturationLearner::add(double rssi_dbm, double snr_db) {
  const double r = rssi_dbm - kLevelRef;
  weight_ = weight_ * kForget + 1;
  rssi_ = rssi_ * kForget + r;
  snr_ = snr_ * kForget + snr_db;
  rssi2_ = rssi2_ * kForget + r * r;
  snr2_ = snr2_ * kForget + snr_db * snr_db;
  cross_ = cross_ * kForget + r * snr_db;
  if (++since_judged_ < kJudgeEvery) return false;
  since_judged_ = 0;
  judge();
  return true;
}

void SaturationLearner::judge() {
  const double rssi = rssi_ / weight_, snr = snr_ / weight_;
  const double rssi_var = rssi2_ / weight_ - rssi * rssi;
  const double snr_var = std::max(0.0, snr2_ / weight_ - snr * snr);
  if (rssi_var < 0.3) return;   // the level did not move: nothing to learn from
  const double slope = (cross_ / weight_ - rssi * snr) / rssi_var;
  const double snr_sd = std::sqrt(snr_var);
  const bool flat = std::abs(slope) < 0.35 && snr_sd < 1.0 && snr_sd < 0.7 * std::sqrt(rssi_var);
  const bool follows = slope > 0.6 || snr_sd > 1.5;
  if (flat && snr > 3.0)
    ceiling_ = snr - std::max(4 * snr_sd, 1.5);
  else if (follows)
    ceiling_.reset();
}

}  // namespace fadeward::link
