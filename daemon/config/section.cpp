#include "section.hpp"

#include <unordered_map>

namespace fadeward::config {

void for_each_entry(Reading& reading, const Node& map,
                    const std::function<void(const Entry&)>& take) {
  std::unordered_map<std::string_view, int> first_line;
  for (const auto& entry : map.entries) {
    const auto [found, fresh] = first_line.emplace(entry.key, entry.place.line);
    if (fresh) {
      take(entry);
      continue;
    }
    Reading::Step step(reading, entry.key);
    reading.complain(entry.place, "given twice, first in line " + std::to_string(found->second));
  }
}

void complain_unknown(Reading& reading, Place place, std::string_view key,
                      const std::vector<std::string_view>& known) {
  const auto near = suggestion(reading, key, known);
  reading.complain(
      place, "unknown key" + near + (near.empty() ? ": " : " ") + "allowed here: " + listed(known));
}

}  // namespace fadeward::config
