// Which share of time a margin lasts: fading statistics and planning methods.
//
// Distributions answer everywhere. Planning methods are fits to measured links: outside the range
// they were made for they refuse and say why.
#pragma once

#include <cstdint>

#include "fadeward/base/result.hpp"

namespace fadeward::budget {

/// Rayleigh fading, no dominant path: probability that the power lies `fade_db` or more below its
/// mean, 1 - exp(-10^(-F/10)).
double rayleigh_outage(double fade_db);

/// The same below the median of the power, which lies 1.59 dB under the mean.
double rayleigh_outage_below_median(double fade_db);

/// Fade below the mean that is reached with probability `outage`, 0 < outage < 1, dB.
double rayleigh_fade_db(double outage);

/// Rician fading with a dominant path `k_db` stronger than the scattered rest: probability that the
/// power lies `fade_db` or more below its mean. k_db up to 30 (more counts as 30).
double rician_outage(double k_db, double fade_db);

/// Lognormal shadowing of standard deviation `sigma_db` > 0: probability that it takes more than
/// `margin_db`.
double lognormal_outage(double margin_db, double sigma_db);

/// A path as clear-air multipath planning sees it.
struct MultipathPath {
  double distance_km = 0;
  double frequency_ghz = 0;
  double near_height_m = 0;  ///< antennas above sea
  double far_height_m = 0;
  double mean_terrain_m = 0;  ///< mean height of the terrain along the path, above sea
};

/// Whether ITU-R P.530-19 section 2.3 reaches a path; an error says why not. Refused: paths of up
/// to 5 km or beyond 300 km, frequencies below 15/d GHz or above 37 GHz (the links it was fitted
/// to).
Status p530_reaches(double distance_km, double frequency_ghz);

/// Recommendation ITU-R P.530-19 section 2.3: clear-air multipath in the average worst month.
/// `log10_k` is the geoclimatic factor of the place, `dn75` the refractivity statistic, both from
/// the maps of the Recommendation or from measurement.
/// Outage 0..1 for a fade of `fade_db` >= 0 below the clear-air level. Refused: what `p530_reaches`
/// refuses, and occurrence factors of 2000 % and more.
Result<double> p530_worst_month_outage(const MultipathPath& path, double log10_k, double dn75,
                                       double fade_db);

/// Multipath occurrence factor p0 of the same section, per cent; no range is checked.
double p530_occurrence_percent(const MultipathPath& path, double log10_k, double dn75);

enum class Terrain : std::uint8_t { smooth, average, mountainous };          // factor 4, 1, 1/4
enum class Climate : std::uint8_t { humid_coast, inland, mountain_or_dry };  // factor 1/2, 1/4, 1/8

/// Barnett-Vigants: yearly outage 0..1 by deep multipath fades,
/// 6.0e-7 a b f d^3 10^(-F/10) with f in GHz and d in km.
/// Refused: frequencies below 2 GHz, paths beyond 160 km, and fades so shallow that the law of deep
/// fades does not hold yet (worst-month outage above 10 %).
Result<double> barnett_vigants_outage(double distance_km, double frequency_ghz, double fade_db,
                                      Terrain terrain = Terrain::average,
                                      Climate climate = Climate::inland);

}  // namespace fadeward::budget
