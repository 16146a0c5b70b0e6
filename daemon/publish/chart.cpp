#include "chart.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "fadeward/base/html_text.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/history/month.hpp"
#include "fadeward/review/words.hpp"
#include "review_figures.hpp"

namespace fadeward::publish {

namespace {

using namespace review;

constexpr double kLeft = 46, kRight = 14, kTop = 12, kBottom = 40;
constexpr std::size_t kMostPoints = 420;
constexpr std::size_t kMostLanes = 4;  ///< of signs below a drawing
constexpr double kLaneHeight = 17, kSignWidth = 9.5, kMostAside = 24;

/// Values to places in a drawing.
struct Frame {
  double width = 1000, height = 270;
  double below = kBottom;  ///< room for dates and signs
  double x_from = 0, x_to = 1, y_from = 0, y_to = 1;
  double x(double value) const {
    return kLeft + (value - x_from) / (x_to - x_from) * (width - kLeft - kRight);
  }
  double y(double value) const {
    return height - below -
           (std::clamp(value, y_from, y_to) - y_from) / (y_to - y_from) * (height - kTop - below);
  }
};

void place(std::string& out, double x, double y) {
  append_rounded(out, x, 1);
  out += ' ';
  append_rounded(out, y, 1);
}

void begin_svg(std::string& out, const Frame& frame, std::string_view label) {
  out += "<svg class=\"chart\" viewBox=\"0 0 ";
  append_rounded(out, frame.width, 0);
  out += ' ';
  append_rounded(out, frame.height, 0);
  out += "\" role=\"img\" aria-label=\"";
  append_html(out, label);
  out += "\">";
}

void line(std::string& out, std::string_view style, double x1, double y1, double x2, double y2) {
  out += "<path class=\"";
  out += style;
  out += "\" d=\"M";
  place(out, x1, y1);
  out += 'L';
  place(out, x2, y2);
  out += "\"/>";
}

void text(std::string& out, std::string_view style, double x, double y, std::string_view words) {
  out += "<text class=\"";
  out += style;
  out += "\" x=\"";
  append_rounded(out, x, 1);
  out += "\" y=\"";
  append_rounded(out, y, 1);
  out += "\">";
  append_html(out, words);
  out += "</text>";
}

/// Lines every 1, 2, 5 or 10 dB with their numbers.
void append_levels(std::string& out, const Frame& frame, std::string_view unit) {
  const double step = frame.y_to - frame.y_from > 45   ? 10
                      : frame.y_to - frame.y_from > 12 ? 5
                      : frame.y_to - frame.y_from > 6  ? 2
                                                       : 1;
  for (double level = std::ceil(frame.y_from / step) * step; level <= frame.y_to + 1e-9;
       level += step) {
    line(out, "grid", kLeft, frame.y(level), frame.width - kRight, frame.y(level));
    std::string number;
    append_rounded(number, level, 0);
    text(out, "axis end", kLeft - 6, frame.y(level) + 5, number);
  }
  text(out, "axis", 2, frame.height - frame.below + 18, unit);
}

double days_of(Time at) { return duration_to_seconds(at.time_since_epoch()) / 86400; }

/// Beginnings of years, or of months where there are few.
void append_dates(std::string& out, const Frame& frame) {
  const auto day = [](double x) {
    return Time{
        std::chrono::duration_cast<Duration>(std::chrono::duration<double, std::ratio<86400>>(x))};
  };
  const bool by_year = frame.x_to - frame.x_from > 900,
             by_quarter = frame.x_to - frame.x_from > 200;
  history::Month month = history::month_of(day(frame.x_from));
  for (int i = 0; i < 1300; ++i, month = month.next()) {
    const double x = days_of(month.begin());
    if (x > frame.x_to) break;
    if (x < frame.x_from || (by_year && month.month != 1) ||
        (!by_year && by_quarter && month.month % 3 != 1))
      continue;
    line(out, "grid", frame.x(x), kTop, frame.x(x), frame.height - frame.below);
    text(out, "axis", frame.x(x) + 3, frame.height - frame.below + 18,
         by_year ? std::to_string(month.year) : month_words(month.begin()));
  }
}

struct Point {
  double x = 0;
  double middle = 0, low = 0, high = 0;
};

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// Groups of days with one middle each, so that years do not weigh megabytes.
std::vector<std::vector<Point>> pieces_of(const std::vector<SpanRow>& days) {
  std::vector<std::vector<Point>> out;
  if (days.empty()) return out;
  const double first = days_of(days.front().from), span = days_of(days.back().to) - first;
  const double group = std::max(1.0, std::ceil(span / static_cast<double>(kMostPoints)));
  std::vector<double> middle, low, high;
  double at = -1;
  const auto finish = [&] {
    if (middle.empty()) return;
    const Point point{first + (at + 0.5) * group, median_of(middle), median_of(low),
                      median_of(high)};
    if (out.empty() || point.x - out.back().back().x > 2.5 * group) out.emplace_back();
    out.back().push_back(point);
    middle.clear();
    low.clear();
    high.clear();
  };
  for (const SpanRow& row : days) {
    const double place = std::floor((days_of(row.from) - first) / group);
    if (place != at) finish();
    at = place;
    if (!row.margin_db) continue;
    middle.push_back(*row.margin_db);
    low.push_back(row.margin_low_db.value_or(*row.margin_db));
    high.push_back(row.margin_high_db.value_or(*row.margin_db));
  }
  finish();
  return out;
}

void append_band(std::string& out, const Frame& frame, const std::vector<Point>& points) {
  out += "<path class=\"band\" d=\"";
  for (std::size_t i = 0; i < points.size(); ++i) {
    out += i == 0 ? 'M' : 'L';
    place(out, frame.x(points[i].x), frame.y(points[i].high));
  }
  for (std::size_t i = points.size(); i-- > 0;) {
    out += 'L';
    place(out, frame.x(points[i].x), frame.y(points[i].low));
  }
  out += "Z\"/>";
}

void append_level(std::string& out, const Frame& frame, std::string_view style,
                  const std::optional<double>& level, std::string_view name) {
  if (!level || *level < frame.y_from || *level > frame.y_to) return;
  line(out, style, kLeft, frame.y(*level), frame.width - kRight, frame.y(*level));
  text(out, "axis end", frame.width - kRight - 2, frame.y(*level) - 4, name);
}

struct PlacedMark {
  const ChartMark* mark = nullptr;
  double x = 0;
  double sign_x = 0;
  std::size_t lane = 0;
};

/// Signs that would touch stand beside or below each other.
std::vector<PlacedMark> lanes_of(const std::vector<ChartMark>& marks, const Frame& frame) {
  std::vector<PlacedMark> out;
  for (const ChartMark& mark : marks) {
    const double x = frame.x(days_of(mark.at));
    if (x >= kLeft && x <= frame.width - kRight) out.push_back({&mark, x, x, 0});
  }
  std::ranges::stable_sort(out, {}, &PlacedMark::x);
  std::array<double, kMostLanes> free_from;
  free_from.fill(-1e9);
  for (PlacedMark& one : out) {
    const double half = kSignWidth * static_cast<double>(one.mark->sign.size()) / 2 + 2;
    const auto aside = [&](std::size_t lane) {
      return std::max(0.0, free_from[lane] - (one.x - half));
    };
    while (one.lane + 1 < kMostLanes && aside(one.lane) > kMostAside) ++one.lane;
    one.sign_x = one.x + aside(one.lane);
    free_from[one.lane] = one.sign_x + half;
  }
  return out;
}

/// `bottom`: of the first lane.
void append_mark(std::string& out, const Frame& frame, const PlacedMark& placed, double bottom) {
  const ChartMark& mark = *placed.mark;
  line(out, mark.upkeep ? "upkeep" : "event", placed.x, kTop, placed.x, frame.height - frame.below);
  text(out, "sign", placed.sign_x, bottom + kLaneHeight * static_cast<double>(placed.lane),
       mark.sign);
}

}  // namespace

void append_margin_chart(std::string& out, const LinkReview& review, std::size_t direction,
                         const std::vector<ChartMark>& marks, std::string_view label) {
  const auto pieces = pieces_of(review.directions[direction].digest.days);
  if (pieces.empty()) return;
  Frame frame;
  frame.x_from = days_of(review.from);
  frame.x_to = std::max(days_of(review.to), frame.x_from + 1);
  double low = 0, high = 10;
  for (const auto& piece : pieces)
    for (const Point& point : piece) {
      low = std::min(low, point.low);
      high = std::max(high, point.high);
    }
  if (const auto& budget = review.context.budget_margin_db[direction])
    high = std::max(high, *budget);
  frame.y_from = std::max(-20.0, std::floor(low / 5) * 5);
  frame.y_to = std::ceil((high + 1) / 5) * 5;
  const std::vector<PlacedMark> placed = lanes_of(marks, frame);
  std::size_t lanes = 1;
  for (const PlacedMark& one : placed) lanes = std::max(lanes, one.lane + 1);
  const double signs_from = frame.height - 6;
  frame.below += kLaneHeight * static_cast<double>(lanes - 1);
  frame.height += kLaneHeight * static_cast<double>(lanes - 1);
  begin_svg(out, frame, label);
  append_levels(out, frame, "dB");
  append_dates(out, frame);
  for (const auto& piece : pieces) append_band(out, frame, piece);
  append_level(out, frame, "warn", review.context.warning_db, "warning below");
  append_level(out, frame, "crit", review.context.critical_db, "critical below");
  append_level(out, frame, "budget", review.context.budget_margin_db[direction], "budget");
  for (const PlacedMark& one : placed) append_mark(out, frame, one, signs_from);
  out += "<path class=\"middle\" d=\"";
  for (const auto& piece : pieces)
    for (std::size_t i = 0; i < piece.size(); ++i) {
      out += i == 0 ? 'M' : 'L';
      place(out, frame.x(piece[i].x), frame.y(piece[i].middle));
      if (piece.size() == 1) out += "h2";
    }
  out += "\"/></svg>\n";
}

void append_years_chart(std::string& out, const std::vector<YearLine>& years,
                        std::string_view label) {
  constexpr std::size_t kMostYears = 6;
  constexpr std::size_t kWeek = 7;
  if (years.empty()) return;
  const std::size_t first = years.size() > kMostYears ? years.size() - kMostYears : 0;
  struct Line {
    int year;
    std::vector<std::pair<double, double>> points;
  };
  std::vector<Line> lines;
  double low = 1e9, high = -1e9;
  for (std::size_t y = first; y < years.size(); ++y) {
    Line one{years[y].year, {}};
    for (std::size_t from = 0; from + kWeek <= years[y].margin_db.size(); from += kWeek) {
      std::vector<double> values;
      for (std::size_t i = from; i < from + kWeek; ++i)
        if (years[y].margin_db[i]) values.push_back(*years[y].margin_db[i]);
      if (values.size() < 3) continue;
      const double level = median_of(values);
      one.points.emplace_back(static_cast<double>(from) + 3.5, level);
      low = std::min(low, level);
      high = std::max(high, level);
    }
    if (!one.points.empty()) lines.push_back(std::move(one));
  }
  if (lines.empty()) return;
  Frame frame;
  frame.x_to = 366;
  frame.y_from = std::floor((low - 0.5) / 2) * 2;
  frame.y_to = std::ceil((high + 0.5) / 2) * 2;
  begin_svg(out, frame, label);
  append_levels(out, frame, "dB");
  static constexpr std::array<int, 12> kBegin = {0,   31,  59,  90,  120, 151,
                                                 181, 212, 243, 273, 304, 334};
  for (std::size_t m = 0; m < kShortMonths.size(); ++m) {
    line(out, "grid", frame.x(kBegin[m]), kTop, frame.x(kBegin[m]), frame.height - frame.below);
    text(out, "axis", frame.x(kBegin[m]) + 3, frame.height - frame.below + 18, kShortMonths[m]);
  }
  for (std::size_t k = 0; k < lines.size(); ++k) {
    const std::string style =
        "year y" + std::to_string(static_cast<std::size_t>(lines[k].year) % kMostYears);
    out += "<path class=\"" + style + "\" d=\"";
    double before = -100;
    for (const auto& [x, y] : lines[k].points) {
      out += x - before > 22 ? 'M' : 'L';
      place(out, frame.x(x), frame.y(y));
      before = x;
    }
    out += "\"/>";
    // The key stands below the months, a stroke and the year.
    const double at = kLeft + static_cast<double>(k) * 150;
    line(out, style, at, frame.height - 10, at + 50, frame.height - 10);
    text(out, "axis", at + 56, frame.height - 5, std::to_string(lines[k].year));
  }
  out += "</svg>\n";
}

void append_channel_chart(std::string& out, const std::vector<ChannelRow>& channels,
                          std::string_view label) {
  if (channels.empty()) return;
  Frame frame;
  frame.height = 210;
  double most = 3;
  for (const ChannelRow& row : channels)
    most = std::max({most, std::abs(row.noise_offset_db), std::abs(row.signal_offset_db),
                     std::abs(row.last_noise_offset_db.value_or(0))});
  frame.y_to = std::ceil(most);
  frame.y_from = -frame.y_to;
  frame.x_to = static_cast<double>(channels.size());
  begin_svg(out, frame, label);
  append_levels(out, frame, "dB");
  const double wide = (frame.width - kLeft - kRight) / frame.x_to;
  const std::size_t every = std::max<std::size_t>(1, channels.size() / 20);
  for (std::size_t i = 0; i < channels.size(); ++i) {
    const double x = frame.x(static_cast<double>(i) + 0.5);
    const double noise = channels[i].last_noise_offset_db.value_or(channels[i].noise_offset_db);
    out += "<rect class=\"bar\" x=\"";
    append_rounded(out, x - wide * 0.35, 1);
    out += "\" y=\"";
    append_rounded(out, std::min(frame.y(noise), frame.y(0)), 1);
    out += "\" width=\"";
    append_rounded(out, wide * 0.7, 1);
    out += "\" height=\"";
    append_rounded(out, std::max(0.5, std::abs(frame.y(noise) - frame.y(0))), 1);
    out += "\"/><circle class=\"dot\" r=\"3.5\" cx=\"";
    append_rounded(out, x, 1);
    out += "\" cy=\"";
    append_rounded(out, frame.y(channels[i].signal_offset_db), 1);
    out += "\"/>";
    if (i % every == 0)
      text(out, "sign", x, frame.height - frame.below + 18, std::to_string(channels[i].channel));
  }
  out += "</svg>\n";
}

void append_spark(std::string& out, const std::vector<std::optional<double>>& values, double low,
                  double high, int width, int height) {
  if (!(high > low) || values.size() < 2) return;
  std::string path;
  bool pen = false;
  int last_x = 0, last_y = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (!values[i]) {
      pen = false;
      continue;
    }
    const int x = static_cast<int>(
        std::lround(static_cast<double>(i) * width / static_cast<double>(values.size() - 1)));
    const int y = static_cast<int>(std::lround(
        height - 1 - (std::clamp(*values[i], low, high) - low) / (high - low) * (height - 2)));
    // Steps from point to point are shorter than places.
    if (pen) {
      path +=
          'l' + std::to_string(x - last_x) + (y >= last_y ? " " : "") + std::to_string(y - last_y);
    } else {
      path += 'M' + std::to_string(x) + ' ' + std::to_string(y);
    }
    pen = true;
    last_x = x;
    last_y = y;
  }
  if (path.empty()) return;
  out += "<svg class=s viewBox=\"0 0 " + std::to_string(width) + ' ' + std::to_string(height) +
         "\" aria-hidden=\"true\"><path d=\"" + path + "\"></path></svg>";
}

}  // namespace fadeward::publish
