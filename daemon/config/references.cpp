// What only the whole file shows: repeated names, references, links that claim the same reports.
#include <algorithm>
#include <map>
#include <unordered_map>

#include "fadeward/base/text.hpp"
#include "sections.hpp"

namespace fadeward::config {
namespace {

using Positions = std::unordered_map<std::string_view, std::size_t>;

// The node of item `index` of the list under `list_name`; the list was read, so that it is there.
const Node& item(const Reading& reading, std::string_view list_name, std::size_t index) {
  return *find(&reading.root, {list_name})->items[index];
}

// Positions by name; the first of a repeated name counts.
template <class Items>
Positions check_names(Reading& reading, std::string_view list_name, const Items& items) {
  Positions positions;
  Reading::Step step(reading, list_name);
  for (std::size_t i = 0; i < items.size(); ++i) {
    if (items[i].name.empty()) continue;
    const auto [found, fresh] = positions.emplace(items[i].name, i);
    if (fresh) continue;
    Reading::Step inner(reading, i);
    const Node* first = item(reading, list_name, found->second).find("name");
    reading.complain_at(item(reading, list_name, i), "name",
                        printable(items[i].name) + " is given twice, first in line " +
                            std::to_string(first == nullptr ? 0 : first->place.line));
  }
  return positions;
}

// "there is no port named mats, did you mean mast?"
std::string not_found(const Reading& reading, std::string_view kind, std::string_view word,
                      const Positions& known) {
  std::vector<std::string_view> names;
  for (const auto& [name, position] : known)
    if (names.size() < 200) names.push_back(name);
  std::sort(names.begin(), names.end());
  return "there is no " + std::string(kind) + " named " + printable(word) +
         suggestion(reading, word, names);
}

void check_ports_of_links(Reading& reading, const Settings& settings, const Positions& ports) {
  for (std::size_t i = 0; i < settings.links.size(); ++i) {
    const std::string& port = settings.links[i].match.port;
    const Node* match = item(reading, "links", i).find("match");
    if (port.empty() || match == nullptr || ports.count(port) > 0) continue;
    Reading::Step step(reading, i);
    Reading::Step inner(reading, "match");
    reading.complain_at(*match, "port", not_found(reading, "port", port, ports));
  }
}

const std::string& radio_name(const LinkSettings& link) {
  return link.match.link.empty() ? link.name : link.match.link;
}

// Which links take reports that carry one name: one of any port, or one per port.
struct Claims {
  std::map<std::string_view, std::size_t> by_port;  // "" for any port
  const std::size_t* clash(std::string_view port) const {
    if (by_port.empty()) return nullptr;
    if (port.empty() || by_port.begin()->first.empty()) return &by_port.begin()->second;
    const auto found = by_port.find(port);
    return found == by_port.end() ? nullptr : &found->second;
  }
};

void complain_claim(Reading& reading, const Settings& settings, std::size_t index,
                    std::size_t other) {
  const auto& link = settings.links[index];
  const Node& map = item(reading, "links", index);
  const Node* match = map.find("match");
  Reading::Step step(reading, index);
  Reading::Step inner(reading, "match");
  const std::string port =
      link.match.port.empty() ? "any port" : "port " + printable(link.match.port);
  const std::string words = "takes reports of " + printable(radio_name(link)) + " from " + port +
                            ", as link " + printable(settings.links[other].name) + " does";
  if (match == nullptr)
    reading.complain(map.place, words);
  else if (match->find("link") == nullptr)
    reading.complain(match->place, words);
  else
    reading.complain_at(*match, "link", words);
}

void check_claims(Reading& reading, const Settings& settings) {
  std::unordered_map<std::string_view, Claims> claims;
  for (std::size_t i = 0; i < settings.links.size(); ++i) {
    const auto& link = settings.links[i];
    if (link.name.empty()) continue;
    auto& taken = claims[radio_name(link)];
    const std::size_t* other = taken.clash(link.match.port);
    const bool repeated_name = other != nullptr && settings.links[*other].name == link.name;
    if (other != nullptr && !repeated_name) complain_claim(reading, settings, i, *other);
    taken.by_port.emplace(link.match.port, i);
  }
}

// Follows `via` from each link; every link is walked once.
void check_via(Reading& reading, const Settings& settings, const Positions& links) {
  enum class Walk : std::uint8_t { fresh, open, done };
  std::vector<Walk> state(settings.links.size(), Walk::fresh);
  for (std::size_t start = 0; start < settings.links.size(); ++start) {
    std::vector<std::size_t> chain;
    std::size_t at = start;
    while (state[at] == Walk::fresh) {
      state[at] = Walk::open;
      chain.push_back(at);
      const std::string& via = settings.links[at].via;
      if (via.empty()) break;
      const auto next = links.find(via);
      Reading::Step step(reading, at);
      if (next == links.end()) {
        reading.complain_at(item(reading, "links", at), "via",
                            not_found(reading, "link", via, links));
        break;
      }
      if (state[next->second] == Walk::open)
        reading.complain_at(item(reading, "links", at), "via",
                            "leads in a circle through " + printable(via));
      at = next->second;
    }
    for (const auto index : chain) state[index] = Walk::done;
  }
}

}  // namespace

void check_references(Reading& reading, const Settings& settings) {
  const Positions ports = check_names(reading, "ports", settings.ports);
  const Positions links = check_names(reading, "links", settings.links);
  Reading::Step step(reading, "links");
  check_ports_of_links(reading, settings, ports);
  check_claims(reading, settings);
  check_via(reading, settings, links);
}

}  // namespace fadeward::config
