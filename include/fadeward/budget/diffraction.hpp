// Loss over obstacles: Recommendation ITU-R P.526-16.
#pragma once

#include "fadeward/budget/fresnel.hpp"
#include "fadeward/budget/profile.hpp"

namespace fadeward::budget {

/// Diffraction parameter nu of an edge `height_m` above the line of sight (below it: negative), at
/// d1 and d2 metres from the ends; section 4.1.
double knife_edge_parameter(double height_m, double d1_m, double d2_m, double frequency_hz);

/// J(nu) by the approximation eq (31), dB; 0 at nu <= -0.78.
double knife_edge_loss_db(double nu);

/// Single rounded obstacle of radius `radius_m`, section 4.2: J(nu) + T(m, n), dB. radius_m >= 0;
/// 0 is the knife edge. Meant for obstacles that reach the line of sight: height_m >= 0.
double rounded_obstacle_loss_db(double height_m, double d1_m, double d2_m, double radius_m,
                                double frequency_hz);

struct Ground {
  double relative_permittivity = 22;  ///< average land
  double conductivity_s_per_m = 0.003;
  bool vertical_polarisation = false;
};

/// Diffraction over a smooth spherical earth, section 3.2, dB; 0 where enough of the path is clear.
/// Heights above that sphere are below 0 only by mistake and count as a thousandth of a metre.
double spherical_earth_loss_db(double distance_km, double near_height_m, double far_height_m,
                               double frequency_hz, double effective_radius_m,
                               const Ground& ground);

/// The delta-Bullington method for a general path, section 4.5.
struct DeltaBullington {
  double bullington_db = 0;         ///< over the actual profile
  double bullington_smooth_db = 0;  ///< over its smooth replacement
  double spherical_db = 0;          ///< spherical earth with the heights above that

  /// The answer, >= 0: eq (64) of P.526-16, the same in P.452-18 and P.1812-8.
  double loss_db() const {
    return bullington_db +
           (spherical_db > bullington_smooth_db ? spherical_db - bullington_smooth_db : 0);
  }
};

/// The profile's clutter stands on its inner points. Heights are those of the antennas above the
/// ground of the first and last point. The profile has at least 3 points.
DeltaBullington delta_bullington(const Profile& profile, double near_height_m, double far_height_m,
                                 double frequency_hz,
                                 double effective_radius_m = kMedianEffectiveRadiusM,
                                 const Ground& ground = {});

}  // namespace fadeward::budget
