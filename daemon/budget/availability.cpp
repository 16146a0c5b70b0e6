#include "fadeward/budget/availability.hpp"

#include <algorithm>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <numbers>
#include <string>

#include "fadeward/base/decibel.hpp"
#include "fadeward/base/text.hpp"

namespace fadeward::budget {
namespace {

constexpr double kMetricBarnettVigants = 6.0e-7;
constexpr double kDeepFadeLaw = 0.1;
constexpr double kLargestRicianDb = 30;

double terrain_factor(Terrain terrain) {
  switch (terrain) {
    case Terrain::smooth: return 4;
    case Terrain::mountainous: return 0.25;
    case Terrain::average: break;
  }
  return 1;
}

double climate_factor(Climate climate) {
  switch (climate) {
    case Climate::humid_coast: return 0.5;
    case Climate::mountain_or_dry: return 0.125;
    case Climate::inland: break;
  }
  return 0.25;
}

/// P.530-19 section 2.3.2: from the occurrence factor to all depths, per cent.
double fade_percent(double occurrence_percent, double fade_db) {
  const double p0 = occurrence_percent;
  const double transition_db = 25 + 1.2 * std::log10(p0);
  if (fade_db >= transition_db) return p0 * ratio_from_db(-fade_db);
  const auto bend = [](double a) { return 4.3 * (std::pow(10, -a / 20) + a / 800); };
  const auto weight = [](double a) {
    return (1 + 0.3 * std::pow(10, -a / 20)) * std::pow(10, -0.016 * a);
  };
  const double pt = std::min(p0 * ratio_from_db(-transition_db), 99.9999);
  const double qa_at = -20 * std::log10(-std::log((100 - pt) / 100)) / transition_db;
  const double qt = (qa_at - 2) / weight(transition_db) - bend(transition_db);
  const double qa = 2 + weight(fade_db) * (qt + bend(fade_db));
  return -100 * std::expm1(-std::pow(10, -qa * fade_db / 20));
}

}  // namespace

double rayleigh_outage(double fade_db) { return -std::expm1(-ratio_from_db(-fade_db)); }

double rayleigh_outage_below_median(double fade_db) {
  return -std::expm1(-std::numbers::ln2 * ratio_from_db(-fade_db));
}

double rayleigh_fade_db(double outage) { return -db_from_ratio(-std::log1p(-outage)); }

double rician_outage(double k_db, double fade_db) {
  const double k = ratio_from_db(std::min(k_db, kLargestRicianDb));
  const double level = (1 + k) * ratio_from_db(-fade_db);
  // Poisson mixture of gamma distributions, summed outward from the largest weight both ways.
  const auto term = [&](int j, double weight) {
    return weight * boost::math::gamma_p(j + 1, level);
  };
  const int middle = static_cast<int>(k);
  const double start =
      std::exp(middle * std::log(std::max(k, 1e-300)) - k - std::lgamma(middle + 1));
  double sum = 0;
  double weight = start;
  for (int j = middle; j < middle + 2'000 && weight > 1e-30 * start; ++j) {
    sum += term(j, weight);
    weight *= k / (j + 1);
  }
  weight = start;
  for (int j = middle; j > 0; --j) {
    weight *= j / k;
    sum += term(j - 1, weight);
  }
  return std::min(sum, 1.0);
}

double lognormal_outage(double margin_db, double sigma_db) {
  return 0.5 * std::erfc(margin_db / sigma_db / std::numbers::sqrt2);
}

double p530_occurrence_percent(const MultipathPath& path, double log10_k, double dn75) {
  const double d = path.distance_km;
  const double f = path.frequency_ghz;
  const double inclination = std::abs(path.far_height_m - path.near_height_m) / d;
  const double above_m =
      (path.far_height_m + path.near_height_m) / 2 - d * d / 102 - path.mean_terrain_m;
  const double lower_m = std::min(path.near_height_m, path.far_height_m);
  const double vsr = std::min(std::pow(dn75 / 50, 1.8) * std::exp(-above_m / (2.5 * std::sqrt(d))),
                              dn75 * std::pow(d, 1.5) * std::sqrt(f) / 24'730);
  return std::pow(d, 3.51) * std::pow(f * f + 13, 0.447) *
         std::pow(10, log10_k - 0.376 * std::tanh((above_m - 147) / 125) -
                          0.334 * std::pow(inclination, 0.39) - 0.00027 * lower_m + 17.85 * vsr);
}

Status p530_reaches(double distance_km, double frequency_ghz) {
  if (!(distance_km > 5)) return Error{"ITU-R P.530: made for paths longer than 5 km"};
  if (distance_km > 300) return Error{"ITU-R P.530: made for paths of up to 300 km"};
  if (!(frequency_ghz >= 15 / distance_km))
    return Error{"ITU-R P.530: over " + rounded_text(distance_km, 3) +
                 " km valid from 15/d = " + rounded_text(15'000 / distance_km, 0) + " MHz"};
  if (frequency_ghz > 37) return Error{"ITU-R P.530: fitted to links of up to 37 GHz"};
  return success();
}

Result<double> p530_worst_month_outage(const MultipathPath& path, double log10_k, double dn75,
                                       double fade_db) {
  if (const Status reaches = p530_reaches(path.distance_km, path.frequency_ghz); !reaches)
    return reaches.error();
  if (!(fade_db >= 0)) return Error{"ITU-R P.530: needs a margin above 0 dB"};
  const double p0 = p530_occurrence_percent(path, log10_k, dn75);
  if (!(p0 > 0 && p0 < 2000))
    return Error{"ITU-R P.530: occurrence factor " + rounded_text(p0, 3) +
                 " % beyond its limit of 2000 %"};
  return std::min(1.0, fade_percent(p0, fade_db) / 100);
}

Result<double> barnett_vigants_outage(double distance_km, double frequency_ghz, double fade_db,
                                      Terrain terrain, Climate climate) {
  if (!(frequency_ghz >= 2))
    return Error{"Barnett-Vigants: fitted from about 2 GHz up, not to " +
                 rounded_text(frequency_ghz * 1000, 3) + " MHz"};
  if (!(distance_km > 0 && distance_km <= 160))
    return Error{"Barnett-Vigants: made for paths of up to 160 km"};
  const double worst_month = kMetricBarnettVigants * terrain_factor(terrain) * frequency_ghz *
                             distance_km * distance_km * distance_km * ratio_from_db(-fade_db);
  if (!(worst_month <= kDeepFadeLaw))
    return Error{"Barnett-Vigants: a law of deep fades; " + rounded_text(fade_db, 3) +
                 " dB of margin is too little for it"};
  return climate_factor(climate) * worst_month;
}

}  // namespace fadeward::budget
