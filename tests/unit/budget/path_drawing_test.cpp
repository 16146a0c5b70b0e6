#include "fadeward/budget/path_drawing.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "support/standard_csv.hpp"

namespace fadeward::budget::path_drawing_test {
namespace {

PathView view_of(double clutter_m) {
  PathView view;
  for (int i = 0; i <= 100; ++i)
    view.profile.points.push_back({0.1 * i, 50, i == 50 ? clutter_m : 0});
  view.near_height_m = view.far_height_m = 30;
  view.frequency_hz = 915e6;
  return view;
}

/// Kept out of the message when it fails: a drawing is long.
bool holds(const std::string& svg, std::string_view part) {
  return svg.find(part) != std::string::npos;
}

using Course = std::vector<std::pair<double, double>>;

/// Courses of all paths of one style: points in drawing units. By hand: the standard library's
/// expressions overflow the stack on long texts.
std::vector<Course> courses(const std::string& svg, const std::string& style) {
  std::vector<Course> out;
  const std::string start = "<path class=\"" + style + "\" d=\"";
  for (auto at = svg.find(start); at != std::string::npos; at = svg.find(start, at)) {
    at += start.size();
    Course& course = out.emplace_back();
    for (; svg[at] == 'M' || svg[at] == 'L';) {
      std::size_t used = 0;
      const double x = std::stod(svg.substr(at + 1, 12), &used);
      at += 1 + used;
      course.emplace_back(x, std::stod(svg.substr(at, 12), &used));
      at += used;
    }
  }
  return out;
}

double highest_of(const Course& course) {
  return std::ranges::min_element(course, {}, &Course::value_type::second)->second;
}

// Scale from the antennas and level lines of the drawing itself; radius of the first zone 28.62 m
// at 915 MHz in the middle of 10 km (ITU-R P.526-16 eq (2)), bulge there 1000 * 25 / (2 * 8500)
// = 1.47 m.
TEST(PathDrawing, IsToScale) {
  const DrawingSize size{1000, 400};
  const std::string svg = draw_path(view_of(0), size);
  const auto sight = courses(svg, "sight").at(0);
  ASSERT_EQ(sight.size(), 2u);
  EXPECT_NEAR(sight[0].second, sight[1].second, 0.11);  // both antennas at 80 m
  const auto ground = courses(svg, "ground").at(0);
  const double ground_at_end = ground.front().second;  // 50 m above sea
  const double per_m = (ground_at_end - sight[0].second) / 30;
  const double zone_top = highest_of(courses(svg, "zone").at(0));
  EXPECT_NEAR((sight[0].second - zone_top) / per_m, 28.62, 0.15);
  EXPECT_NEAR((ground_at_end - highest_of(ground)) / per_m, 1.47, 0.1);
  EXPECT_GT(sight[0].first, 0);
  EXPECT_LT(sight[1].first, size.width);
}

// 30 m above flat ground, less 1.47 m of bulge, is 99.7 % of 28.62 m; a wood of 20 m leaves 8.53 m.
TEST(PathDrawing, MarksWhatIsTooClose) {
  const std::string open = draw_path(view_of(0), {});
  EXPECT_FALSE(holds(open, "class=\"tight\""));
  EXPECT_FALSE(holds(open, "class=\"growth\""));
  EXPECT_TRUE(holds(open, "100 % of the first zone free at 5 km"));
  const std::string wooded = draw_path(view_of(20), {});
  EXPECT_EQ(courses(wooded, "tight").size(), 1u);
  EXPECT_TRUE(holds(wooded, "class=\"growth\""));
  EXPECT_TRUE(holds(wooded, "30 % of the first zone free at 5 km"));
  EXPECT_TRUE(holds(draw_path(view_of(40), {}), "obstructed by 11.5 m at 5 km"));
}

// The longest official profile of ITU-R P.526, 2648 points, with one sharp top of three times the
// height: it must not fall to the thinning.
TEST(PathDrawing, ThinsLongProfilesWithoutLosingTheirTops) {
  PathView view;
  for (const auto& row : test::read_csv("standards/p526_path2.csv"))
    view.profile.points.push_back({row.at("d_km"), row.at("h_m"), 0});
  view.near_height_m = view.far_height_m = 20;
  view.frequency_hz = 915e6;
  double highest_m = 0;
  for (const ProfilePoint& point : view.profile.points)
    highest_m = std::max(highest_m, point.height_m);
  for (const std::size_t where : {1u, 1333u, 2000u, 2646u}) {
    PathView peaked = view;
    peaked.profile.points[where].height_m = 3 * highest_m;
    const std::string svg = draw_path(peaked, {});
    EXPECT_LT(svg.size(), 60'000u);
    EXPECT_LT(highest_of(courses(svg, "ground").at(0)), 0.25 * 400) << where;
    EXPECT_LT(highest_of(courses(svg, "ground").at(0)), highest_of(courses(svg, "sight").at(0)));
  }
}

TEST(PathDrawing, OddPathsStayFinite) {
  for (const double km : {0.001, 0.5, 1900.0})
    for (const double height_m : {-400.0, 0.0, 8000.0}) {
      PathView view;
      for (int i = 0; i < 3; ++i) view.profile.points.push_back({km * i / 2, height_m, 0});
      view.frequency_hz = 433e6;
      for (const DrawingSize& size : {DrawingSize{1000, 400}, DrawingSize{340, 300}}) {
        const std::string svg = draw_path(view, size);
        EXPECT_FALSE(holds(svg, "null")) << km << ' ' << height_m;
        EXPECT_LT(svg.size(), 60'000u);
      }
    }
  EXPECT_EQ(draw_path({}, {}), "");
}

}  // namespace
}  // namespace fadeward::budget::path_drawing_test
