#include "complaints.hpp"

#include <algorithm>
#include <tuple>

#include "fadeward/base/text.hpp"
#include "fadeward/config/parse.hpp"
#include "utf8.hpp"

namespace fadeward::config {
namespace {

constexpr std::size_t kHeld = 1000;

std::vector<std::string_view> split_lines(std::string_view text) {
  std::vector<std::string_view> lines;
  for (std::size_t at = 0; at <= text.size();) {
    const auto end = std::min(text.find('\n', at), text.size());
    lines.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return lines;
}

int column_in_characters(Place place, const std::vector<std::string_view>& lines) {
  if (place.line < 1 || place.line > static_cast<int>(lines.size())) return place.column;
  const auto line = lines[static_cast<std::size_t>(place.line - 1)];
  const auto before = std::min(line.size(), static_cast<std::size_t>(place.column - 1));
  return place.column - static_cast<int>(before - count_characters(line.substr(0, before)));
}

}  // namespace

void Complaints::add(Place place, std::string_view path, std::string words) {
  if (held_.size() >= kHeld) {
    ++not_held_;
    return;
  }
  std::string line = path.empty() ? std::string() : printable(path) + ": ";
  held_.push_back({place, line + words});
}

std::string Complaints::text(std::string_view file_name, std::string_view yaml_text) const {
  auto sorted = held_;
  std::stable_sort(sorted.begin(), sorted.end(), [](const Complaint& a, const Complaint& b) {
    return std::tie(a.place.line, a.place.column) < std::tie(b.place.line, b.place.column);
  });
  const auto same = [](const Complaint& a, const Complaint& b) {
    return a.place.line == b.place.line && a.place.column == b.place.column && a.words == b.words;
  };
  sorted.erase(std::unique(sorted.begin(), sorted.end(), same), sorted.end());
  const auto lines = split_lines(yaml_text);
  const std::string file = printable(file_name);
  std::string out;
  for (std::size_t i = 0; i < std::min(sorted.size(), kMaxErrors); ++i) {
    if (i > 0) out += '\n';
    const Place place = sorted[i].place;
    out += file + ':' + std::to_string(place.line) + ':' +
           std::to_string(column_in_characters(place, lines)) + ": " + sorted[i].words;
  }
  const std::size_t shown = std::min(sorted.size(), kMaxErrors);
  const std::size_t more = sorted.size() - shown + not_held_;
  if (more > 0) out += '\n' + file + ": and " + std::to_string(more) + " more";
  return out;
}

}  // namespace fadeward::config
