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
  const double per_m = 1 / length_m;
  const double curvature = 1 / (2 * effective_radius_m);
  double lowest = std::numeric_limits<double>::infinity();
  std::size_t where = 1;
  // The square of the ratio with its sign, but for a constant factor, is enough to compare points.
  for (std::size_t i = 1; i + 1 < profile.points.size(); ++i) {
    const ProfilePoint& point = profile.points[i];
    const double d1_m = 1000 * point.distance_km;
    const double d2_m = length_m - d1_m;
    const double free_m = (near_top_m * d2_m + far_top_m * d1_m) * per_m - point.height_m -
                          point.clutter_m - d1_m * d2_m * curvature;
    const double order = free_m * std::abs(free_m) / (d1_m * d2_m);
    if (order >= lowest) continue;
    lowest = order;
    where = i;
    smallest.clearance_m = free_m;
  }
  smallest.at_km = profile.points[where].distance_km;
  const double d1_m = 1000 * smallest.at_km;
  smallest.zone_m = fresnel_radius_m(frequency_hz, d1_m, length_m - d1_m);
  smallest.ratio = smallest.clearance_m / smallest.zone_m;
  return smallest;
}

}  // namespace fadeward::budget
