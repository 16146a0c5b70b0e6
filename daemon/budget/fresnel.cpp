#include "fadeward/budget/fresnel.hpp"

#include <cmath>
#include <limits>

#include "fadeward/budget/free_space.hpp"

namespace fadeward::budget {

double fresnel_radius_m(double frequency_hz, double d1_m, double d2_m, int zone) {
  return std::sqrt(zone * wavelength_m(frequency_hz) * d1_m * d2_m / (d1_m + d2_m));
}

double earth_bulge_m(double d1_m, double d2_m, double effective_radius_m) {
  return d1_m * d2_m / (2 * effective_radius_m);
}

double k_factor_of_lapse(double lapse_n_per_km) { return 157 / (157 - lapse_n_per_km); }

double k_factor_worst_month(double distance_km) { return 157 / (144 + 2670 / distance_km); }

Clearance smallest_clearance(const Profile& profile, double near_height_m, double far_height_m,
                             double frequency_hz, double effective_radius_m) {
  Clearance smallest;
  smallest.ratio = std::numeric_limits<double>::infinity();
  if (profile.points.size() < 3) return smallest;
  const double near_top_m = profile.points.front().height_m + near_height_m;
  const double far_top_m = profile.points.back().height_m + far_height_m;
  const double length_m = 1000 * profile.length_km();
  for (std::size_t i = 1; i + 1 < profile.points.size(); ++i) {
    const ProfilePoint& point = profile.points[i];
    const double d1_m = 1000 * point.distance_km;
    const double d2_m = length_m - d1_m;
    const double line_m = (near_top_m * d2_m + far_top_m * d1_m) / length_m;
    const double top_m =
        point.height_m + point.clutter_m + earth_bulge_m(d1_m, d2_m, effective_radius_m);
    const double zone_m = fresnel_radius_m(frequency_hz, d1_m, d2_m);
    const double ratio = (line_m - top_m) / zone_m;
    if (ratio < smallest.ratio) smallest = {ratio, point.distance_km, line_m - top_m, zone_m};
  }
  return smallest;
}

}  // namespace fadeward::budget
