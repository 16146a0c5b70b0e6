// Loss through trees: Recommendation ITU-R P.833-10 section 2.1, one terminal in woodland.
#pragma once

#include <optional>

namespace fadeward::budget {

inline constexpr double kFoliageLowestHz = 105.9e6;  ///< ends of P.833-10 Table 1
inline constexpr double kFoliageHighestHz = 2117.5e6;
/// P.833: near 1 GHz trees in leaf take about 20 % more per metre than leafless ones. Applies to
/// the specific attenuation, not to the total.
inline constexpr double kInLeafFactor = 1.2;

struct Woodland {
  double specific_db_per_m = 0;  ///< in leaf
  double ceiling_db = 0;         ///< the loss that no depth of wood exceeds
};

/// Table 1 (mixed forest, trees of 16 m), interpolated on logarithmic scales; at a table frequency
/// the table's own values. Empty outside 105.9 to 2117.5 MHz. Typical values only: species, density
/// and water content matter.
std::optional<Woodland> woodland_at(double frequency_hz);

/// Eq (1): ceiling (1 - exp(-depth specific / ceiling)), dB. depth_m >= 0 is the way through wood.
double woodland_loss_db(const Woodland& wood, double depth_m, bool in_leaf = true);

}  // namespace fadeward::budget
