#include "fadeward/budget/exposure.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "fadeward/base/decibel.hpp"

namespace fadeward::budget {
namespace {

constexpr double kLowRowWPerM2 = 2;
constexpr double kHighRowWPerM2 = 10;

double sloped(double frequency_mhz, double divisor) {
  return std::clamp(frequency_mhz / divisor, kLowRowWPerM2, kHighRowWPerM2);
}

}  // namespace

std::optional<double> exposure_limit_w_per_m2(double frequency_hz, ExposureLimit limit) {
  const double mhz = frequency_hz * 1e-6;
  if (!(mhz >= 30 && mhz <= 100'000)) return std::nullopt;
  const double icnirp = sloped(mhz, 200);
  const double us = sloped(mhz, 150);
  switch (limit) {
    case ExposureLimit::icnirp: return icnirp;
    case ExposureLimit::us_1_1310: return us;
    case ExposureLimit::stricter: break;
  }
  return std::min(icnirp, us);
}

std::optional<double> exposure_distance_m(double eirp_dbm, double frequency_hz,
                                          ExposureLimit limit) {
  const auto permitted = exposure_limit_w_per_m2(frequency_hz, limit);
  if (!permitted) return std::nullopt;
  const double eirp_w = ratio_from_db(eirp_dbm - 30);
  const double distance_m = std::sqrt(eirp_w / (4 * std::numbers::pi * *permitted));
  return std::max(kSmallestExposureDistanceM, distance_m);
}

std::string_view name_of(ExposureLimit limit) {
  switch (limit) {
    case ExposureLimit::icnirp: return "ICNIRP, general public";
    case ExposureLimit::us_1_1310: return "47 CFR 1.1310, general population";
    case ExposureLimit::stricter: break;
  }
  return "the stricter of ICNIRP (general public) and 47 CFR 1.1310 (general population)";
}

}  // namespace fadeward::budget
