#include "fadeward/simulate/receiver.hpp"

#include <algorithm>

namespace fadeward::simulate {

RiceFading::RiceFading(double k_db) {
  const double k = power_of(k_db);
  steady_ = std::sqrt(k / (k + 1.0));
  scatter_ = std::sqrt(0.5 / (k + 1.0));
}

Reading measure(double signal_dbm, double noise_dbm, Random& random) {
  const double total_dbm = dbm_of(power_of(signal_dbm) + power_of(noise_dbm));
  const double snr_db = saturated_snr_db(signal_dbm - noise_dbm + 0.5 * random.normal());
  Reading out;
  out.rssi_dbm = static_cast<int>(std::lround(total_dbm + 0.3 * random.normal()));
  out.snr_quarter_db = static_cast<int>(std::lround(snr_db * 4.0));
  out.noise_dbm = static_cast<int>(std::lround(noise_dbm + 0.7 * random.normal()));
  return out;
}

double required_snr_db(int spreading_factor) {
  return -5.0 - 2.5 * (std::clamp(spreading_factor, 6, 12) - 6);
}

}  // namespace fadeward::simulate
