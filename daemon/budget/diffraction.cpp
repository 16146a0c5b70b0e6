// Symbols and units inside follow the Recommendation: distances and radii in km, heights in m,
// frequency in GHz.
#include "fadeward/budget/diffraction.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "fadeward/budget/free_space.hpp"

namespace fadeward::budget {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kSmallestHeightM = 1e-3;

/// One path as the formulas see it: ends above sea, in the units of the Recommendation.
struct Path {
  double d_km;
  double hts_m;
  double hrs_m;
  double ae_km;
  double lambda_m;
};

double bullington_from_knife_edge_db(double luc_db, double d_km) {
  return luc_db + (1 - std::exp(-luc_db / 6)) * (10 + 0.02 * d_km);
}

/// Bullington construction over the inner points; `top_m(i)` is the height of the obstacle there.
template <class Top>
double bullington_db(const Profile& profile, const Path& path, Top top_m) {
  const auto& points = profile.points;
  const double d = path.d_km;
  const double per_km = 1 / d;
  const double straight = (path.hrs_m - path.hts_m) * per_km;
  const double curvature = 500 / path.ae_km;
  double steepest_near = -std::numeric_limits<double>::infinity();
  double steepest_far = steepest_near;
  // Of nu the square with its sign is enough to find the largest: one division for each point.
  double largest = steepest_near;
  for (std::size_t i = 1; i + 1 < points.size(); ++i) {
    const double di = points[i].distance_km;
    const double rest = d - di;
    const double product = di * rest;
    const double inverse = 1 / product;
    const double height = top_m(i) + curvature * product;
    const double above = height - (path.hts_m * rest + path.hrs_m * di) * per_km;
    steepest_near = std::max(steepest_near, (height - path.hts_m) * rest * inverse);
    steepest_far = std::max(steepest_far, (height - path.hrs_m) * di * inverse);
    largest = std::max(largest, above * std::abs(above) * inverse);
  }
  const double edge_km =
      (path.hrs_m - path.hts_m + steepest_far * d) / (steepest_near + steepest_far);
  // An obstacle that just touches the line of sight leaves the crossing point undefined.
  const bool crosses = steepest_near >= straight && edge_km > 0 && edge_km < d;
  if (!crosses) {
    const double nu =
        std::copysign(std::sqrt(std::abs(largest) * 0.002 * d / path.lambda_m), largest);
    return bullington_from_knife_edge_db(knife_edge_loss_db(nu), d);
  }
  const double rest_km = d - edge_km;
  const double above =
      path.hts_m + steepest_near * edge_km - (path.hts_m * rest_km + path.hrs_m * edge_km) / d;
  const double nu = above * std::sqrt(0.002 * d / (path.lambda_m * edge_km * rest_km));
  return bullington_from_knife_edge_db(knife_edge_loss_db(nu), d);
}

/// Ends of the smooth surface that replaces the terrain, m above sea.
struct SmoothEnds {
  double near_m;
  double far_m;
};

SmoothEnds smooth_surface(const Profile& profile, const Path& path) {
  const auto& points = profile.points;
  const double d = path.d_km;
  double v1 = 0;
  double v2 = 0;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const double a = points[i - 1].distance_km;
    const double b = points[i].distance_km;
    const double ha = points[i - 1].height_m;
    const double hb = points[i].height_m;
    v1 += (b - a) * (hb + ha);
    v2 += (b - a) * (hb * (2 * b + a) + ha * (b + 2 * a));
  }
  SmoothEnds ends{(2 * v1 * d - v2) / (d * d), (v2 - v1 * d) / (d * d)};

  double highest = -std::numeric_limits<double>::infinity();
  double near_slope = highest;
  double far_slope = highest;
  const double per_km = 1 / d;
  for (std::size_t i = 1; i + 1 < points.size(); ++i) {
    const double di = points[i].distance_km;
    const double rest = d - di;
    const double inverse = 1 / (di * rest);
    const double above = points[i].height_m - (path.hts_m * rest + path.hrs_m * di) * per_km;
    highest = std::max(highest, above);
    near_slope = std::max(near_slope, above * rest * inverse);
    far_slope = std::max(far_slope, above * di * inverse);
  }
  if (highest > 0) {
    ends.near_m -= highest * near_slope / (near_slope + far_slope);
    ends.far_m -= highest * far_slope / (near_slope + far_slope);
  }
  ends.near_m = std::min(ends.near_m, points.front().height_m);
  ends.far_m = std::min(ends.far_m, points.back().height_m);
  return ends;
}

double height_gain_db(double beta, double normal_height, double k) {
  const double b = beta * normal_height;
  const double gain = b > 2 ? 17.6 * std::sqrt(b - 1.1) - 5 * std::log10(b - 1.1) - 8
                            : 20 * std::log10(b + 0.1 * b * b * b);
  return std::max(gain, 2 + 20 * std::log10(k));
}

/// First term of the residue series for one effective radius (section 3.1.2).
double first_term_loss_db(double d_km, double hte_m, double hre_m, double f_ghz, double a_km,
                          const Ground& ground) {
  const double loss_tangent = 18 * ground.conductivity_s_per_m / f_ghz;
  const double permittivity = ground.relative_permittivity;
  double k = 0.036 * std::pow(a_km * f_ghz, -1.0 / 3) *
             std::pow((permittivity - 1) * (permittivity - 1) + loss_tangent * loss_tangent, -0.25);
  if (ground.vertical_polarisation) k *= std::hypot(permittivity, loss_tangent);
  const double k2 = k * k;
  const double beta = (1 + 1.6 * k2 + 0.67 * k2 * k2) / (1 + 4.5 * k2 + 1.53 * k2 * k2);
  const double x = 21.88 * beta * std::cbrt(f_ghz / (a_km * a_km)) * d_km;
  const double unit = 0.9575 * std::cbrt(f_ghz * f_ghz / a_km);
  const double distance_term_db = x >= 1.6 ? 11 + 10 * std::log10(x) - 17.6 * x
                                           : -20 * std::log10(x) - 5.6488 * std::pow(x, 1.425);
  return -distance_term_db - height_gain_db(beta, unit * beta * hte_m, k) -
         height_gain_db(beta, unit * beta * hre_m, k);
}

/// Part of section 3.2 for paths shorter than the distance to the horizons.
double within_sight_loss_db(double d, double hte, double hre, double f_ghz, double ae,
                            const Ground& ground) {
  const double lambda = wavelength_m(f_ghz * 1e9);
  const double c = (hte - hre) / (hte + hre);
  const double m = 250 * d * d / (ae * (hte + hre));
  const double m1 = m + 1;
  const double angle =
      std::acos(std::clamp(1.5 * c * std::sqrt(3 * m / (m1 * m1 * m1)), -1.0, 1.0)) / 3;
  const double b = 2 * std::sqrt(m1 / (3 * m)) * std::cos(kPi / 3 + angle);
  const double d1 = d / 2 * (1 + b);
  const double d2 = d - d1;
  const double clearance = ((hte - 500 * d1 * d1 / ae) * d2 + (hre - 500 * d2 * d2 / ae) * d1) / d;
  const double required = 17.456 * std::sqrt(d1 * d2 * lambda / d);
  if (clearance > required) return 0;
  const double reach = d / (std::sqrt(hte) + std::sqrt(hre));
  const double grazing_db = first_term_loss_db(d, hte, hre, f_ghz, 500 * reach * reach, ground);
  return grazing_db < 0 ? 0 : (1 - clearance / required) * grazing_db;
}

}  // namespace

double knife_edge_parameter(double height_m, double d1_m, double d2_m, double frequency_hz) {
  return height_m * std::sqrt(2 / wavelength_m(frequency_hz) * (1 / d1_m + 1 / d2_m));
}

double knife_edge_loss_db(double nu) {
  if (nu <= -0.78) return 0;
  const double v = nu - 0.1;
  return std::max(0.0, 6.9 + 20 * std::log10(std::sqrt(v * v + 1) + v));
}

double rounded_obstacle_loss_db(double height_m, double d1_m, double d2_m, double radius_m,
                                double frequency_hz) {
  const double edge_db =
      knife_edge_loss_db(knife_edge_parameter(height_m, d1_m, d2_m, frequency_hz));
  if (radius_m <= 0) return edge_db;
  const double size = kPi * radius_m / wavelength_m(frequency_hz);
  const double m = radius_m * (d1_m + d2_m) / (d1_m * d2_m) / std::cbrt(size);
  const double n = height_m * std::cbrt(size * size) / radius_m;
  const double mn = m * n;
  const double common = 7.2 * std::sqrt(m) + 3.6 * m * std::sqrt(m) - 0.8 * m * m;
  const double rounding_db =
      mn <= 4 ? common - (2 - 12.5 * n) * m : common - 6 - 20 * std::log10(mn) - (2 - 17 * n) * m;
  return edge_db + rounding_db;
}

double spherical_earth_loss_db(double distance_km, double near_height_m, double far_height_m,
                               double frequency_hz, double effective_radius_m,
                               const Ground& ground) {
  const double hte = std::max(near_height_m, kSmallestHeightM);
  const double hre = std::max(far_height_m, kSmallestHeightM);
  const double f_ghz = frequency_hz * 1e-9;
  const double ae = effective_radius_m * 1e-3;
  const double sight_km = std::sqrt(2 * ae) * (std::sqrt(0.001 * hte) + std::sqrt(0.001 * hre));
  if (distance_km < sight_km) return within_sight_loss_db(distance_km, hte, hre, f_ghz, ae, ground);
  return std::max(0.0, first_term_loss_db(distance_km, hte, hre, f_ghz, ae, ground));
}

DeltaBullington delta_bullington(const Profile& profile, double near_height_m, double far_height_m,
                                 double frequency_hz, double effective_radius_m,
                                 const Ground& ground) {
  DeltaBullington result;
  const auto& points = profile.points;
  if (points.size() < 3) return result;
  const Path actual{profile.length_km(), points.front().height_m + near_height_m,
                    points.back().height_m + far_height_m, effective_radius_m * 1e-3,
                    wavelength_m(frequency_hz)};
  const SmoothEnds ends = smooth_surface(profile, actual);
  Path smooth = actual;
  smooth.hts_m -= ends.near_m;
  smooth.hrs_m -= ends.far_m;

  result.bullington_db = bullington_db(
      profile, actual, [&](std::size_t i) { return points[i].height_m + points[i].clutter_m; });
  result.bullington_smooth_db = bullington_db(profile, smooth, [](std::size_t) { return 0.0; });
  result.spherical_db = spherical_earth_loss_db(actual.d_km, smooth.hts_m, smooth.hrs_m,
                                                frequency_hz, effective_radius_m, ground);
  return result;
}

}  // namespace fadeward::budget
