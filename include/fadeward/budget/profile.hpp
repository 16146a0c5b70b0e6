// The terrain between two sites, as measured from a map.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/result.hpp"

namespace fadeward::budget {

struct ProfilePoint {
  double distance_km = 0;  ///< from the near end; strictly rising along a profile
  double height_m = 0;     ///< ground above sea
  double clutter_m = 0;    ///< trees or buildings standing on it
};

struct Profile {
  std::vector<ProfilePoint> points;     ///< at least 3; the first at 0 km is the near end
  std::vector<std::string> suspicions;  ///< what looks wrong but can be computed with, in words

  double length_km() const { return points.empty() ? 0 : points.back().distance_km; }
  /// Of the ground above sea, along the path; straight lines between the points. 0 without a path.
  double mean_height_m() const;
};

inline constexpr std::size_t kMaxProfileBytes = 16u << 20;
inline constexpr std::size_t kMaxProfilePoints = 200'000;

/// CSV text: header `distance_km,height_m[,clutter_m]`, then one point a line from the near end to
/// the far end. Blank lines, lines that begin with '#', CR LF and a byte order mark are accepted.
///
/// An error names the line: another header (feet, miles and metres of distance are named),
/// something that is no number, distances that go back, heights no land has. Suspicions name gaps,
/// a distance given twice (the higher point stays), a beginning other than 0 (shifted to it),
/// ground below the sea, and slopes that point at mixed units.
Result<Profile> parse_profile(std::string_view text);

/// What the length of the profile says against the distance of the settings: empty when they agree
/// within 5 %, else one sentence that names miles, feet or metres where the ratio points at them.
std::string compare_length(const Profile& profile, double distance_km);

}  // namespace fadeward::budget
