// The path between two antennas as a drawing: terrain on a round earth, what stands on it, the line
// of sight and the first Fresnel zone.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/budget/profile.hpp"

namespace fadeward::budget {

struct PathView {
  Profile profile;           ///< at least 3 points
  double near_height_m = 0;  ///< of the antennas above the ground of the first and last point
  double far_height_m = 0;
  double frequency_hz = 0;  ///< above 0
};

/// Size in units of the drawing; text has a fixed size in them, so a narrow drawing is made for a
/// narrow screen, not shrunk to it.
struct DrawingSize {
  double width = 1000;
  double height = 400;
};

/// One `<svg>` element with classes and without colours of its own (`path_drawing_style`). Level
/// lines are bent as the earth is seen by the beam (effective radius 8500 km), so heights above sea
/// can be read anywhere. Stretches with less than 60 % of the first zone free are marked, and the
/// point of least clearance carries its share. Profiles of many points are drawn by the highest of
/// neighbouring ones. Finite for every finite view.
std::string draw_path(const PathView& view, const DrawingSize& size);

/// Style sheet of the drawing for light, dark and paper; custom properties begin with --path-.
std::string_view path_drawing_style();

/// What the drawing's marks mean, as HTML list.
std::string_view path_drawing_legend();

}  // namespace fadeward::budget
