#include "fadeward/budget/free_space.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace fadeward::budget {

double free_space_loss_db(double frequency_hz, double distance_m) {
  const double ratio = 4 * std::numbers::pi * distance_m / wavelength_m(frequency_hz);
  return std::max(0.0, 20 * std::log10(ratio));
}

}  // namespace fadeward::budget
