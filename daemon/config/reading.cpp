#include "reading.hpp"

#include <algorithm>
#include <utility>

#include "fadeward/base/text.hpp"

namespace fadeward::config {
namespace {

// Insertions, deletions, replacements and swaps of neighbours that turn one word into the other
// (optimal string alignment).
std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = last[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, replaced});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        row[j] = std::min(row[j], before[j - 2] + 1);
    }
    std::swap(before, last);
    std::swap(last, row);
  }
  return last[b.size()];
}

// Empty if none is near.
std::string_view nearest_word(std::string_view word, const std::vector<std::string_view>& known) {
  std::string_view nearest;
  std::size_t least = std::clamp<std::size_t>(word.size() / 3, 1, 3) + 1;
  for (const auto candidate : known) {
    const std::size_t distance = edit_distance(word, candidate);
    if (distance >= least) continue;
    least = distance;
    nearest = candidate;
  }
  return nearest;
}

}  // namespace

Reading::Reading(const Node& document, std::string_view file_name, const Vocabulary& known)
    : root(document), vocabulary(known) {
  const auto slash = file_name.rfind('/');
  if (slash != file_name.npos) directory_ = file_name.substr(0, slash + 1);
}

void Reading::refuse(const Node& node, std::string_view allowed) {
  complain(node.place, shown(node) + " is not allowed: " + std::string(allowed));
}

void Reading::complain(Place place, std::string words) {
  complaints.add(place, path_, std::move(words));
}

void Reading::complain_at(const Node& map, std::string_view key, std::string words) {
  const Node* value = map.find(key);
  Step step(*this, key);
  complain(value == nullptr ? map.place : value->place, std::move(words));
}

std::string Reading::resolve(std::string_view file_path) const {
  if (file_path.empty() || file_path.front() == '/') return std::string(file_path);
  return directory_ + std::string(file_path);
}

Reading::Step::Step(Reading& reading, std::string_view key)
    : reading_(reading), length_(reading.path_.size()) {
  if (length_ > 0) reading.path_ += '.';
  reading.path_ += printable(key, 60);
}

Reading::Step::Step(Reading& reading, std::size_t index)
    : reading_(reading), length_(reading.path_.size()) {
  reading.path_ += '[' + std::to_string(index) + ']';
}

std::string shown(const Node& node) {
  switch (node.kind) {
    case Node::Kind::nothing: return "nothing";
    case Node::Kind::list: return "a list";
    case Node::Kind::map: return "a map";
    case Node::Kind::text: break;
  }
  const std::string text = printable(node.text, 60);
  return node.plain ? text : '"' + text + '"';
}

std::string suggestion(const Reading& reading, std::string_view word,
                       const std::vector<std::string_view>& known) {
  if (word.size() > 40 || reading.complaints.size() > 10 * kMaxErrors) return {};
  const auto near = nearest_word(word, known);
  return near.empty() ? std::string() : ", did you mean " + printable(near) + "?";
}

std::string listed(const std::vector<std::string_view>& words) {
  std::string out;
  for (const auto word : words) out += (out.empty() ? "" : ", ") + std::string(word);
  return out;
}

}  // namespace fadeward::config
