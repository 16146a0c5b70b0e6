#include "fadeward/budget/profile.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <optional>

#include "fadeward/base/text.hpp"

namespace fadeward::budget {
namespace {

constexpr double kHighestGroundM = 9'000;
constexpr double kLowestGroundM = -500;  // the lowest dry land lies at about -430 m
constexpr double kTallestClutterM = 1'000;
constexpr double kLongestPathKm = 2'000;
constexpr double kSteepSlope = 3;  // rise over run; cliffs do it once, mixed units everywhere
constexpr double kGapFactor = 8;
constexpr double kSmallestGapKm = 0.3;
constexpr std::size_t kMaxSuspicionsOfOneKind = 3;

std::string_view trim(std::string_view text) {
  constexpr std::string_view kSpace = " \t\r";
  const auto first = text.find_first_not_of(kSpace);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(kSpace) - first + 1);
}

std::optional<double> to_number(std::string_view text) {
  double value = 0;
  const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failure != std::errc{} || end != text.data() + text.size() || !std::isfinite(value))
    return std::nullopt;
  return value;
}

/// Up to three cells of a line; `count` is the number found, also beyond three.
struct Cells {
  std::array<std::string_view, 3> text;
  std::size_t count = 0;
};

Cells split(std::string_view line) {
  Cells cells;
  while (true) {
    const auto comma = line.find(',');
    if (cells.count < cells.text.size()) cells.text[cells.count] = trim(line.substr(0, comma));
    ++cells.count;
    if (comma == std::string_view::npos) return cells;
    line.remove_prefix(comma + 1);
  }
}

class Reader {
 public:
  Result<Profile> read(std::string_view text);

 private:
  Error at_line(std::string what) const {
    return {"line " + std::to_string(line_) + ": " + std::move(what)};
  }
  void suspect(std::size_t& seen, std::string what);
  Status take_header(std::string_view line);
  Status take_point(std::string_view line);
  Status place(const ProfilePoint& point);
  Status finish();
  void look_for_gaps();
  void look_for_slopes();

  Profile profile_;
  std::size_t line_ = 0;
  std::size_t columns_ = 0;
  double origin_km_ = 0;
  std::size_t doubled_ = 0;
  std::size_t below_sea_ = 0;
  std::size_t gaps_ = 0;
};

void Reader::suspect(std::size_t& seen, std::string what) {
  if (++seen <= kMaxSuspicionsOfOneKind) profile_.suspicions.push_back(std::move(what));
}

Status Reader::take_header(std::string_view line) {
  constexpr std::string_view kAllowed = "the header must be distance_km,height_m[,clutter_m]";
  const Cells cells = split(line);
  columns_ = cells.count;
  const bool plain = cells.text[0] == "distance_km" && cells.text[1] == "height_m";
  if (plain && (cells.count == 2 || (cells.count == 3 && cells.text[2] == "clutter_m")))
    return success();
  std::string what = "\"" + printable(line, 60) + "\": " + std::string(kAllowed);
  for (std::string_view unit : {"_ft", "_feet", "_mi", "_miles", "distance_m"})
    if (cells.text[0].ends_with(unit) || cells.text[1].ends_with(unit))
      return at_line(what + "; convert feet, miles and metres of distance first");
  if (line.find(';') != std::string_view::npos) what += "; columns are separated by commas";
  return at_line(std::move(what));
}

Status Reader::place(const ProfilePoint& point) {
  auto& points = profile_.points;
  if (points.empty() || point.distance_km > points.back().distance_km) {
    if (points.size() >= kMaxProfilePoints)
      return at_line("more than " + std::to_string(kMaxProfilePoints) + " points");
    points.push_back(point);
    return success();
  }
  ProfilePoint& last = points.back();
  if (point.distance_km < last.distance_km)
    return at_line("distance " + rounded_text(point.distance_km + origin_km_, 3) +
                   " km comes after " + rounded_text(last.distance_km + origin_km_, 3) +
                   " km: distances must rise from the near end to the far end (written from the "
                   "other end, or two profiles in one file?)");
  suspect(doubled_, "line " + std::to_string(line_) + ": distance " +
                        rounded_text(point.distance_km + origin_km_, 3) +
                        " km is given twice; the higher point is used");
  if (point.height_m + point.clutter_m > last.height_m + last.clutter_m) last = point;
  return success();
}

Status Reader::take_point(std::string_view line) {
  const Cells cells = split(line);
  if (cells.count != columns_)
    return at_line(std::to_string(cells.count) + " columns where the header has " +
                   std::to_string(columns_));
  std::array<double, 3> values{};
  for (std::size_t i = 0; i < columns_; ++i) {
    if (i == 2 && cells.text[i].empty()) continue;
    const auto value = to_number(cells.text[i]);
    if (!value) return at_line("\"" + printable(cells.text[i], 40) + "\" is not a number");
    values[i] = *value;
  }
  if (values[0] < 0) return at_line("distance " + rounded_text(values[0], 3) + " km is below 0");
  if (profile_.points.empty()) {
    origin_km_ = values[0];
    if (origin_km_ > 0)
      profile_.suspicions.push_back("the profile begins at " + rounded_text(origin_km_, 3) +
                                    " km; that point is taken as the near end");
  }
  const ProfilePoint point{values[0] - origin_km_, values[1], values[2]};
  if (point.distance_km > kLongestPathKm)
    return at_line("distance " + rounded_text(values[0], 3) + " km: are these metres?");
  if (point.height_m > kHighestGroundM || point.height_m < kLowestGroundM)
    return at_line("no ground lies at " + rounded_text(point.height_m, 3) +
                   " m; are these feet, or a mark for missing data?");
  if (point.clutter_m < 0 || point.clutter_m > kTallestClutterM)
    return at_line("clutter of " + rounded_text(point.clutter_m, 3) + " m");
  if (point.height_m < 0)
    suspect(below_sea_, "line " + std::to_string(line_) + ": ground at " +
                            rounded_text(point.height_m, 3) +
                            " m lies below the sea: right in a polder only");
  return place(point);
}

void Reader::look_for_gaps() {
  const auto& points = profile_.points;
  std::vector<double> steps_km;
  steps_km.reserve(points.size());
  for (std::size_t i = 1; i < points.size(); ++i)
    steps_km.push_back(points[i].distance_km - points[i - 1].distance_km);
  std::vector<double> sorted = steps_km;
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
  std::nth_element(sorted.begin(), middle, sorted.end());
  const double limit_km = std::max(kSmallestGapKm, kGapFactor * *middle);
  for (std::size_t i = 0; i < steps_km.size(); ++i)
    if (steps_km[i] > limit_km)
      suspect(gaps_, "gap: no point between " +
                         rounded_text(points[i].distance_km + origin_km_, 3) + " and " +
                         rounded_text(points[i + 1].distance_km + origin_km_, 3) +
                         " km; what stands there is not seen");
}

void Reader::look_for_slopes() {
  const auto& points = profile_.points;
  std::size_t steep = 0;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const double run_m = 1000 * (points[i].distance_km - points[i - 1].distance_km);
    if (std::abs(points[i].height_m - points[i - 1].height_m) > kSteepSlope * run_m) ++steep;
  }
  if (steep >= 2 && steep * 10 >= points.size() - 1)
    profile_.suspicions.push_back("ground steeper than 70 degrees in " + std::to_string(steep) +
                                  " places: are heights in feet, or distances not in kilometres?");
}

Status Reader::finish() {
  if (columns_ == 0) return Error{"no header; expected distance_km,height_m[,clutter_m]"};
  if (profile_.points.size() < 3)
    return Error{"a profile needs at least 3 different distances, this one has " +
                 std::to_string(profile_.points.size())};
  for (const auto& [seen, what] :
       {std::pair{doubled_, "doubled distances"}, std::pair{below_sea_, "points below the sea"}})
    if (seen > kMaxSuspicionsOfOneKind)
      profile_.suspicions.push_back(std::to_string(seen) + " " + what + " in all");
  look_for_gaps();
  look_for_slopes();
  return success();
}

Result<Profile> Reader::read(std::string_view text) {
  if (text.size() > kMaxProfileBytes) return Error{"a profile of more than 16 MiB is not read"};
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  while (!text.empty()) {
    const auto end = text.find('\n');
    const std::string_view line = trim(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    ++line_;
    if (line.empty() || line.front() == '#') continue;
    const Status taken = columns_ == 0 ? take_header(line) : take_point(line);
    if (!taken) return taken.error();
  }
  if (const Status finished = finish(); !finished) return finished.error();
  return std::move(profile_);
}

bool close_to(double ratio, double target) { return std::abs(ratio / target - 1) < 0.05; }

}  // namespace

double Profile::mean_height_m() const {
  double area = 0;
  for (std::size_t i = 1; i < points.size(); ++i)
    area += (points[i].height_m + points[i - 1].height_m) / 2 *
            (points[i].distance_km - points[i - 1].distance_km);
  return length_km() > 0 ? area / length_km() : 0;
}

Result<Profile> parse_profile(std::string_view text) { return Reader().read(text); }

std::string compare_length(const Profile& profile, double distance_km) {
  if (!(distance_km > 0) || profile.length_km() <= 0) return {};
  const double ratio = profile.length_km() / distance_km;
  if (close_to(ratio, 1)) return {};
  std::string text = "the profile is " + rounded_text(profile.length_km(), 3) +
                     " km long, the settings say distance_km " + rounded_text(distance_km, 3);
  if (close_to(ratio, 1 / 1.609344))
    text += "; is the profile in miles?";
  else if (close_to(ratio, 1.609344))
    text += "; is distance_km in miles?";
  else if (close_to(ratio, 1000))
    text += "; is the profile in metres?";
  else if (close_to(ratio, 3280.84))
    text += "; is the profile in feet?";
  else if (close_to(ratio, 0.001))
    text += "; is distance_km in metres?";
  return text;
}

}  // namespace fadeward::budget
