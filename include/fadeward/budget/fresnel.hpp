// Fresnel zones, the bulge of the earth and the clearance of a path above its terrain.
#pragma once

#include "fadeward/budget/profile.hpp"

namespace fadeward::budget {

inline constexpr double kEarthRadiusM = 6'371'000;  ///< mean radius, as in P.452-18 and P.1812-8
/// ITU-R P.526-16 section 1: to be used where nothing else is known (a k-factor of 4/3).
inline constexpr double kMedianEffectiveRadiusM = 8'500'000;
/// ITU-R P.530-19 section 2.2.2: with this share of the first zone free, loss is that of free
/// space.
inline constexpr double kFreeShareOfFirstZone = 0.6;

/// Radius of Fresnel zone `zone` (1, 2, ...) at d1 and d2 metres from the ends: P.526-16 eq (2).
double fresnel_radius_m(double frequency_hz, double d1_m, double d2_m, int zone = 1);

/// Height of the earth's bulge above the chord, m: d1 d2 / (2 effective radius).
double earth_bulge_m(double d1_m, double d2_m, double effective_radius_m);

/// k-factor from the lapse rate of refractivity in the lowest kilometre, N units per km and
/// positive as in P.452-18: 157 / (157 - lapse). The lapse must be below 157.
double k_factor_of_lapse(double lapse_n_per_km);

/// k-factor exceeded for about 99.9 % of the worst month over a path of this length, P.530-19 eq
/// (4).
double k_factor_worst_month(double distance_km);

struct Clearance {
  double ratio = 0;        ///< smallest clearance as a share of the first zone; below 0: obstructed
  double at_km = 0;        ///< where, from the near end
  double clearance_m = 0;  ///< there, line of sight above ground and clutter
  double zone_m = 0;       ///< radius of the first zone there
};

/// Smallest clearance over the inner points of the profile. Heights are those of the antennas above
/// the ground of the first and the last point.
Clearance smallest_clearance(const Profile& profile, double near_height_m, double far_height_m,
                             double frequency_hz, double effective_radius_m);

}  // namespace fadeward::budget
