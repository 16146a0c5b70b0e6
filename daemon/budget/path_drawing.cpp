#include "fadeward/budget/path_drawing.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include "fadeward/base/html_text.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/budget/fresnel.hpp"

namespace fadeward::budget {
namespace {

constexpr double kLeft = 48, kRight = 14, kTop = 34, kBottom = 46;
constexpr std::size_t kMostPoints = 500;
constexpr int kZoneSteps = 80;
constexpr double kLevelGap = 48;  ///< least distance of level lines
constexpr double kKmGap = 70;     ///< and of marks along the path
constexpr double kEndGap = 64;    ///< the last mark stays clear of the length of the path
constexpr double kLetterWidth = 6.6;

/// 1, 2 or 5 times a power of ten, not below `least`.
double round_step(double least) {
  const double power = std::pow(10, std::floor(std::log10(least)));
  for (double factor : {1.0, 2.0, 5.0})
    if (factor * power >= least) return factor * power;
  return 10 * power;
}

int decimals_of(double step) {
  return step >= 1 ? 0 : static_cast<int>(std::ceil(-std::log10(step) - 1e-9));
}

/// Of each group of neighbours the highest one; both ends stay.
std::vector<ProfilePoint> thinned(const std::vector<ProfilePoint>& points) {
  if (points.size() <= kMostPoints) return points;
  std::vector<ProfilePoint> out{points.front()};
  const std::size_t inner = points.size() - 2;
  for (std::size_t group = 0; group + 2 < kMostPoints; ++group) {
    const auto begin =
        points.begin() + 1 + static_cast<std::ptrdiff_t>(group * inner / (kMostPoints - 2));
    const auto end =
        points.begin() + 1 + static_cast<std::ptrdiff_t>((group + 1) * inner / (kMostPoints - 2));
    out.push_back(*std::max_element(begin, end, [](const ProfilePoint& a, const ProfilePoint& b) {
      return a.height_m + a.clutter_m < b.height_m + b.clutter_m;
    }));
  }
  out.push_back(points.back());
  return out;
}

class Drawing {
 public:
  Drawing(const PathView& view, const DrawingSize& size)
      : view_(view), size_(size), points_(thinned(view.profile.points)) {
    length_km_ = view.profile.length_km();
    near_m_ = points_.front().height_m + view.near_height_m;
    far_m_ = points_.back().height_m + view.far_height_m;
    scale();
  }
  std::string svg();

 private:
  using At = std::function<double(double)>;

  double bulge_m(double km, double radius_m = kMedianEffectiveRadiusM) const {
    return earth_bulge_m(1000 * km, 1000 * (length_km_ - km), radius_m);
  }
  double zone_m(double km) const {
    if (km <= 0 || km >= length_km_) return 0;
    return fresnel_radius_m(view_.frequency_hz, 1000 * km, 1000 * (length_km_ - km));
  }
  double sight_m(double km) const { return near_m_ + (far_m_ - near_m_) * km / length_km_; }
  static double top_m(const ProfilePoint& point) { return point.height_m + point.clutter_m; }
  bool is_tight(const ProfilePoint& point) const {
    const double km = point.distance_km;
    return sight_m(km) - top_m(point) - bulge_m(km) < kFreeShareOfFirstZone * zone_m(km);
  }

  void scale();
  double x(double km) const { return kLeft + km / length_km_ * (size_.width - kLeft - kRight); }
  double y(double m) const {
    return size_.height - kBottom -
           (m - low_m_) / (high_m_ - low_m_) * (size_.height - kTop - kBottom);
  }
  std::string place(double km, double m) const {
    return rounded_text(x(km), 1) + " " + rounded_text(y(m), 1);
  }
  void path(std::string_view style, const std::string& course);
  void text(std::string_view style, double x, double y, const std::string& words);
  std::string smooth(const At& height_m, bool backward = false) const;
  std::string along(const std::function<double(const ProfilePoint&)>& height_m,
                    bool backward = false) const;

  void levels();
  void kilometres();
  void earth();
  void tight_stretches();
  void zone();
  void ends();
  void least_clearance();

  const PathView& view_;
  DrawingSize size_;
  std::vector<ProfilePoint> points_;
  double length_km_ = 1, near_m_ = 0, far_m_ = 0;
  double low_m_ = 0, high_m_ = 1, base_m_ = 0;
  std::string out_;
};

void Drawing::scale() {
  base_m_ = points_.front().height_m;
  double high_m = std::max(near_m_, far_m_);
  double low_m = std::min(near_m_, far_m_);
  for (const ProfilePoint& point : points_) {
    const double km = point.distance_km;
    base_m_ = std::min(base_m_, point.height_m);
    high_m = std::max({high_m, top_m(point) + bulge_m(km), sight_m(km) + zone_m(km)});
    low_m = std::min({low_m, point.height_m, sight_m(km) - zone_m(km)});
  }
  const double room_m = std::max(1.0, 0.06 * (high_m - low_m));
  low_m_ = low_m - room_m;
  high_m_ = high_m + room_m;
}

void Drawing::path(std::string_view style, const std::string& course) {
  out_ += "<path class=\"" + std::string(style) + "\" d=\"M" + course + "\"/>";
}

void Drawing::text(std::string_view style, double x, double y, const std::string& words) {
  out_ += "<text class=\"" + std::string(style) + "\" x=\"" + rounded_text(x, 1) + "\" y=\"" +
          rounded_text(y, 1) + "\">";
  append_html(out_, words);
  out_ += "</text>";
}

std::string Drawing::smooth(const At& height_m, bool backward) const {
  std::string course;
  for (int i = 0; i <= kZoneSteps; ++i) {
    // Closer at the ends, where the zone opens fast.
    const double share = static_cast<double>(backward ? kZoneSteps - i : i) / kZoneSteps;
    const double km = length_km_ * (1 - std::cos(std::numbers::pi * share)) / 2;
    course += (course.empty() ? "" : "L") + place(km, height_m(km));
  }
  return course;
}

std::string Drawing::along(const std::function<double(const ProfilePoint&)>& height_m,
                           bool backward) const {
  std::string course;
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const ProfilePoint& point = points_[backward ? points_.size() - 1 - i : i];
    course += (course.empty() ? "" : "L") + place(point.distance_km, height_m(point));
  }
  return course;
}

/// Lines of one height above sea, bent with the earth.
void Drawing::levels() {
  const double drawn = size_.height - kTop - kBottom;
  const double step_m = round_step(kLevelGap * (high_m_ - low_m_) / drawn);
  for (double level_m = std::ceil(low_m_ / step_m) * step_m; level_m < high_m_; level_m += step_m) {
    if (y(level_m) < kTop + kLevelGap / 3) continue;  // the unit stands there
    path("level", smooth([&](double km) { return std::min(level_m + bulge_m(km), high_m_); }));
    text("end", kLeft - 6, y(level_m) + 4, rounded_text(level_m, decimals_of(step_m)));
  }
  text("start", 4, kTop - 2, "m above sea");
}

void Drawing::kilometres() {
  const double drawn = size_.width - kLeft - kRight;
  const double step_km = round_step(kKmGap * length_km_ / drawn);
  const double y = size_.height - kBottom;
  for (int i = 0; i * step_km <= length_km_ * (1 + 1e-9); ++i) {
    const double km = i * step_km;
    if (x(length_km_) - x(km) < kEndGap && x(length_km_) - x(km) > 1) continue;
    out_ +=
        "<path class=\"mark\" d=\"M" + rounded_text(x(km), 1) + " " + rounded_text(y, 1) + "v5\"/>";
    if (x(length_km_) - x(km) >= 1)
      text("middle", x(km), y + 18, rounded_text(km, decimals_of(step_km)));
  }
  text("end", x(length_km_), y + 18, rounded_text(length_km_, 1) + " km");
  text("start", kLeft, y + 36, "near, antenna " + rounded_text(view_.near_height_m, 1) + " m");
  text("end", x(length_km_), y + 36, "far, antenna " + rounded_text(view_.far_height_m, 1) + " m");
}

void Drawing::earth() {
  const auto bent = [&](double km) { return base_m_ + bulge_m(km); };
  const auto ground = [&](const ProfilePoint& point) {
    return point.height_m + bulge_m(point.distance_km);
  };
  const auto top = [&](const ProfilePoint& point) {
    return top_m(point) + bulge_m(point.distance_km);
  };
  path("ground", along(ground) + "L" + place(length_km_, low_m_) + "L" + place(0, low_m_) + "Z");
  path("bulge", smooth(bent) + "L" + place(length_km_, low_m_) + "L" + place(0, low_m_) + "Z");
  if (std::ranges::any_of(points_, [](const ProfilePoint& p) { return p.clutter_m > 0; }))
    path("growth", along(top) + "L" + along(ground, true) + "Z");
  const double worst_radius_m = kEarthRadiusM * k_factor_worst_month(length_km_);
  path("worst", along([&](const ProfilePoint& point) {
         return std::min(top_m(point) + bulge_m(point.distance_km, worst_radius_m), high_m_);
       }));
}

void Drawing::tight_stretches() {
  std::string course;
  const auto close = [&] {
    if (!course.empty()) path("tight", course);
    course.clear();
  };
  for (std::size_t i = 1; i + 1 < points_.size(); ++i) {
    if (!is_tight(points_[i])) {
      close();
      continue;
    }
    // A point alone stands for the ground around it: half the way to its neighbours.
    if (course.empty()) {
      const double km = (points_[i - 1].distance_km + points_[i].distance_km) / 2;
      course = place(km, (top_m(points_[i - 1]) + top_m(points_[i])) / 2 + bulge_m(km));
    }
    course +=
        "L" + place(points_[i].distance_km, top_m(points_[i]) + bulge_m(points_[i].distance_km));
  }
  close();
}

void Drawing::zone() {
  const auto edge = [&](double share) {
    return [this, share](double km) { return sight_m(km) + share * zone_m(km); };
  };
  path("zone", smooth(edge(1)) + "L" + smooth(edge(-1), true) + "Z");
  path("free", smooth(edge(-kFreeShareOfFirstZone)));
  path("sight", place(0, near_m_) + "L" + place(length_km_, far_m_));
}

void Drawing::ends() {
  path("mast", place(0, points_.front().height_m) + "L" + place(0, near_m_));
  path("mast", place(length_km_, points_.back().height_m) + "L" + place(length_km_, far_m_));
  for (const auto& [km, m] : {std::pair{0.0, near_m_}, std::pair{length_km_, far_m_}})
    out_ += "<circle class=\"antenna\" cx=\"" + rounded_text(x(km), 1) + "\" cy=\"" +
            rounded_text(y(m), 1) + "\" r=\"4\"/>";
}

void Drawing::least_clearance() {
  const Clearance least = smallest_clearance(view_.profile, view_.near_height_m, view_.far_height_m,
                                             view_.frequency_hz, kMedianEffectiveRadiusM);
  const double km = least.at_km;
  const std::string words =
      (least.ratio < 0 ? "obstructed by " + rounded_text(-least.clearance_m, 1) + " m at "
                       : rounded_text(100 * least.ratio, 0) + " % of the first zone free at ") +
      rounded_text(km) + " km";
  path("least", rounded_text(x(km), 1) + " " + rounded_text(kTop - 10, 1) + "L" +
                    place(km, sight_m(km) - least.clearance_m));
  const double half = kLetterWidth * static_cast<double>(words.size()) / 2;
  const double middle =
      std::clamp(x(km), kLeft + half, std::max(kLeft + half, size_.width - 4 - half));
  text("middle strong", middle, kTop - 16, words);
}

std::string Drawing::svg() {
  out_ = "<svg class=\"path\" viewBox=\"0 0 " + rounded_text(size_.width, 0) + " " +
         rounded_text(size_.height, 0) +
         "\" role=\"img\" aria-label=\"Terrain, line of sight and first Fresnel zone\">";
  earth();
  levels();
  zone();
  tight_stretches();
  ends();
  kilometres();
  least_clearance();
  out_ += "</svg>";
  return std::move(out_);
}

// Ground, growth and warning differ in lightness as well as in hue, lines also in their dashes.
constexpr std::string_view kStyle = R"css(
:root { --path-ground: #cdbf9f; --path-bulge: #e4dcc8; --path-growth: #5b8052; --path-sight: #14598c;
  --path-tight: #8c1250; --path-text: #20262b; --path-level: #8d8778; --path-worst: #5b5244; }
@media (prefers-color-scheme: dark) { :root { --path-ground: #5d5240; --path-bulge: #3a352b; --path-growth: #7fb070;
  --path-sight: #86c1ee; --path-tight: #ff9ec6; --path-text: #e8e6e0; --path-level: #7d8488; --path-worst: #d0c4ad; } }
@media print { :root { --path-ground: #cdbf9f; --path-bulge: #e4dcc8; --path-growth: #5b8052; --path-sight: #14598c;
  --path-tight: #8c1250; --path-text: #000; --path-level: #8d8778; --path-worst: #5b5244; } }
svg.path { display: block; width: 100%; height: auto; font: 12.5px system-ui, sans-serif; }
svg.path text { fill: var(--path-text); } svg.path .end { text-anchor: end; } svg.path .middle { text-anchor: middle; }
svg.path .strong { font-weight: 650; }
svg.path path { fill: none; stroke-width: 1.5; stroke-linejoin: round; }
svg.path .ground { fill: var(--path-ground); } svg.path .bulge { fill: var(--path-bulge); } svg.path .growth { fill: var(--path-growth); }
svg.path .level, svg.path .mark { stroke: var(--path-level); stroke-width: .6; }
svg.path .zone { fill: var(--path-sight); fill-opacity: .13; stroke: var(--path-sight); stroke-width: 1; }
svg.path .free { stroke: var(--path-sight); stroke-dasharray: 2 4; }
svg.path .sight { stroke: var(--path-sight); stroke-width: 2; }
svg.path .worst { stroke: var(--path-worst); stroke-dasharray: 7 4; stroke-width: 1; }
svg.path .tight { stroke: var(--path-tight); stroke-width: 4; stroke-linecap: round; }
svg.path .least { stroke: var(--path-tight); stroke-width: 1.5; }
svg.path .mast { stroke: var(--path-text); stroke-width: 3; } svg.path .antenna { fill: var(--path-text); }
.legend { display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; list-style: none; margin: .4rem 0 0; padding: 0; font-size: .875rem; }
.legend svg.path { display: inline-block; width: 26px; height: 12px; margin-right: .4rem; vertical-align: -1px; }
@media print { svg.path, .legend { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
)css";

#define FADEWARD_SWATCH(style, course)                                                      \
  "<li><svg class=\"path\" viewBox=\"0 0 26 12\" aria-hidden=\"true\"><path class=\"" style \
  "\" d=\"" course "\"/></svg>"
constexpr std::string_view kLegend =
    "<ul class=\"legend\">"
    FADEWARD_SWATCH("ground", "M0 0H26V12H0Z") "ground</li>"
    FADEWARD_SWATCH("bulge", "M0 0H26V12H0Z") "bulge of the earth, and what lies below</li>"
    FADEWARD_SWATCH("growth", "M0 0H26V12H0Z") "trees, buildings</li>"
    FADEWARD_SWATCH("worst", "M0 6H26") "their tops in the worst month (k of ITU-R P.530)</li>"
    FADEWARD_SWATCH("sight", "M0 6H26") "line of sight</li>"
    FADEWARD_SWATCH("zone", "M1 1H25V11H1Z") "first Fresnel zone</li>"
    FADEWARD_SWATCH("free", "M0 6H26") "60 % of it: should be free</li>"
    FADEWARD_SWATCH("tight", "M3 6H23") "less than that is free</li></ul>";
#undef FADEWARD_SWATCH

}  // namespace

std::string draw_path(const PathView& view, const DrawingSize& size) {
  if (view.profile.points.size() < 3) return {};
  return Drawing(view, size).svg();
}

std::string_view path_drawing_style() { return kStyle; }
std::string_view path_drawing_legend() { return kLegend; }

}  // namespace fadeward::budget
