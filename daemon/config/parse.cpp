#include "fadeward/config/parse.hpp"

#include <utility>

#include "fadeward/base/text.hpp"
#include "file.hpp"
#include "sections.hpp"

namespace fadeward::config {
namespace {

constexpr std::size_t kMaxPorts = 1000;
constexpr std::size_t kMaxLinks = 10'000;

// Each link starts as a copy of the defaults and changes what its own map names.
bool read_links(Reading& reading, const Node& node, Settings& out) {
  LinkSettings defaults;
  Reading aside = reading.fresh();  // mistakes in the defaults are told once, by read_defaults
  if (const Node* map = reading.root.find("defaults")) defaults_section()(aside, *map, defaults);
  const Reader<LinkSettings> read_link = [&defaults](Reading& at, const Node& item,
                                                     LinkSettings& link) {
    link = defaults;
    return link_section()(at, item, link);
  };
  return list_of<LinkSettings>(read_link, "a list of at most 10000 maps, one per link", kMaxLinks)(
      reading, node, out.links);
}

bool read_defaults(Reading& reading, const Node& node, Settings&) {
  LinkSettings scratch;
  return defaults_section()(reading, node, scratch);
}

}  // namespace

const Section<Settings>& document_section() {
  using T = Settings;
  static const Section<T> section({
      key<T>("external_labels", &T::external_labels,
             Reader<std::map<std::string, std::string>>(read_labels)),
      key<T>("http", &T::http, Reader<HttpSettings>(http_section())),
      key<T>("metrics", &T::metrics, Reader<MetricsSettings>(metrics_section())),
      key<T>("history", &T::history, Reader<HistorySettings>(history_section())),
      key<T>("push", &T::push, Reader<PushSettings>(push_section())),
      key<T>("ports", &T::ports,
             list_of<PortSettings>(port_section(), "a list of at most 1000 maps, one per port",
                                   kMaxPorts)),
      {"defaults", read_defaults},
      {"links", read_links},
  });
  return section;
}

Result<Settings> parse(std::string_view yaml_text, std::string_view file_name,
                       const Vocabulary& vocabulary) {
  const auto tree = read_document(yaml_text, file_name);
  if (!tree) return tree.error();
  const Node& root = **tree;
  Reading reading(root, file_name, vocabulary);
  if (root.kind == Node::Kind::nothing)
    reading.complain(root.place, "nothing in it: expected at least links: [{ name: ... }]");
  Settings settings;
  settings.file = file_name;
  document_section()(reading, root, settings);
  check_references(reading, settings);
  if (!reading.complaints.empty()) return Error{reading.complaints.text(file_name, yaml_text)};
  return settings;
}

Result<Settings> load(const std::string& path, const Vocabulary& vocabulary) {
  const auto text = read_file(path);
  if (!text) return text.error();
  return parse(*text, path, vocabulary);
}

}  // namespace fadeward::config
