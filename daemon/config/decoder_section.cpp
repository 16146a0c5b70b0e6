#include "decoder_section.hpp"

#include <re2/re2.h>

#include <algorithm>
#include <charconv>
#include <memory>
#include <set>

#include "fadeward/base/text.hpp"
#include "scalar.hpp"

namespace fadeward::config {
namespace {

constexpr std::size_t kMaxExpressionBytes = 8192;

std::unique_ptr<re2::RE2> compile(const std::string& pattern) {
  re2::RE2::Options options(re2::RE2::Latin1);  // bytes, as the radio sends them
  options.set_log_errors(false);
  options.set_max_mem(std::int64_t{4} << 20);
  return std::make_unique<re2::RE2>(pattern, options);
}

std::vector<std::string_view> quantity_names() {
  std::vector<std::string_view> names;
  for (std::size_t i = 0; i < kFields; ++i) names.push_back(field_info(static_cast<Field>(i)).name);
  return names;
}

// What `fields` may define: the numeric quantities, and what identifies the report.
const std::vector<std::string_view>& canonical_names() {
  static const auto names = [] {
    auto all = quantity_names();
    all.push_back("time");
    all.push_back("link");
    return all;
  }();
  return names;
}

bool is_canonical(std::string_view name) {
  const auto& names = canonical_names();
  return std::find(names.begin(), names.end(), name) != names.end();
}

// "7..4", "4..7" or "5": {lowest bit, count}.
std::optional<std::pair<int, int>> parse_bits(std::string_view text) {
  const auto dots = text.find("..");
  const auto bit = [](std::string_view digits) -> std::optional<int> {
    int value = 0;
    const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
    if (error != std::errc() || end != digits.data() + digits.size()) return {};
    if (value < 0 || value > 63) return {};
    return value;
  };
  const auto first = bit(text.substr(0, dots));
  const auto last = dots == text.npos ? first : bit(text.substr(dots + 2));
  if (!first || !last) return {};
  return std::pair(std::min(*first, *last), std::abs(*first - *last) + 1);
}

const Section<FieldRule>& field_rule_section() {
  using T = FieldRule;
  static const Section<T> section({
      key<T>("from", &T::from, text(256)),
      key<T>("scale", &T::scale, factor()),
      key<T>("offset", &T::offset, number(-1e12, 1e12, "")),
      key<T>("bits", &T::bits,
             scalar<std::pair<int, int>>("bits such as \"7..4\" or 3, numbered from 0 to 63",
                                         parse_bits)),
  });
  return section;
}

Reader<PackedType> packed_type() {
  using enum PackedType;
  return word_of<PackedType>({{"u8", u8},
                              {"i8", i8},
                              {"u16", u16},
                              {"i16", i16},
                              {"u24", u24},
                              {"i24", i24},
                              {"u32", u32},
                              {"i32", i32},
                              {"u64", u64},
                              {"i64", i64},
                              {"f32", f32},
                              {"f64", f64}});
}

const Section<PackedField>& packed_section() {
  using T = PackedField;
  static const Section<T> section({
      required(key<T>("name", &T::name, text(256))),
      required(key<T>("at", &T::at, whole_size(0, 65535, "bytes from the start of the frame"))),
      required(key<T>("type", &T::type, packed_type())),
      key<T>("order", &T::big_endian, word_of<bool>({{"little", false}, {"big", true}})),
  });
  return section;
}

// ---- checks over the whole port --------------------------------------------------------------

void check_owner(Reading& reading, const Node& map, std::string_view key_name, bool belongs,
                 std::string_view owner) {
  if (map.find(key_name) != nullptr && !belongs)
    reading.complain_at(map, key_name, "belongs to decoder: " + std::string(owner));
}

void check_owners(Reading& reading, const Node& map, DecoderKind kind) {
  using enum DecoderKind;
  check_owner(reading, map, "pattern", kind == pattern, "pattern");
  check_owner(reading, map, "patterns", kind == pattern, "pattern");
  check_owner(reading, map, "columns", kind == csv, "csv");
  check_owner(reading, map, "separator", kind == csv || kind == pairs, "csv or pairs");
  check_owner(reading, map, "packed", kind == packed, "packed");
  check_owner(reading, map, "packed_min_bytes", kind == packed, "packed");
}

using Names = std::set<std::string, std::less<>>;

// The names under which the decoder finds values, where the file alone settles them.
struct Named {
  std::string_view key;     // where they stand: pattern, columns, ...
  std::string_view thing;   // what one of them is called
  std::vector<Names> each;  // one set per expression; one for all columns, packed values
};

Names group_names(const std::string& pattern) {
  const auto compiled = compile(pattern);
  Names names;
  for (const auto& [name, number] : compiled->NamedCapturingGroups()) names.insert(name);
  return names;
}

std::optional<Named> named_values(const Node& map, const DecoderSettings& decoder) {
  Named named;
  const auto& patterns = decoder.patterns;
  if (decoder.kind == DecoderKind::pattern) {
    if (std::find(patterns.begin(), patterns.end(), "") != patterns.end()) return {};  // refused
    named = {map.find("pattern") != nullptr ? "pattern" : "patterns", "group", {}};
    for (const auto& pattern : patterns) named.each.push_back(group_names(pattern));
  } else if (decoder.kind == DecoderKind::packed && !decoder.packed.empty()) {
    named = {"packed", "packed value", {{}}};
    for (const auto& field : decoder.packed) named.each[0].insert(field.name);
  } else if (decoder.kind == DecoderKind::csv && !decoder.columns.empty()) {
    named = {"columns", "column", {{decoder.columns.begin(), decoder.columns.end()}}};
  }
  if (named.each.empty()) return {};
  return named;
}

// A rule moves its quantity to the name in `from`; without one it is found under its own.
bool feeds(std::string_view name, std::string_view quantity, const DecoderSettings& decoder) {
  const auto rule = decoder.fields.find(std::string(quantity));
  const bool moved = rule != decoder.fields.end() && !rule->second.from.empty();
  return name == (moved ? std::string_view(rule->second.from) : quantity);
}

bool feeds_any(std::string_view name, const std::vector<std::string_view>& quantities,
               const DecoderSettings& decoder) {
  return std::any_of(quantities.begin(), quantities.end(),
                     [&](auto quantity) { return feeds(name, quantity, decoder); });
}

void check_from(Reading& reading, const Node& map, const Named& named,
                const DecoderSettings& decoder) {
  Names all;
  for (const auto& names : named.each) all.insert(names.begin(), names.end());
  Reading::Step step(reading, "fields");
  for (const auto& [name, rule] : decoder.fields) {
    const std::string& from = rule.from.empty() ? name : rule.from;
    const Node* node = find(&map, {"fields", name});
    if (all.count(from) > 0 || node == nullptr) continue;
    Reading::Step inner(reading, name);
    reading.complain_at(*node, "from",
                        "there is no " + std::string(named.thing) + " named " + printable(from) +
                            " in " + std::string(named.key));
  }
}

void complain_unreached(Reading& reading, const Node& map, const Named& named, std::size_t index) {
  const std::string words =
      "no " + std::string(named.thing) +
      " leads to a known quantity: name one after it (rssi_dbm, seq, ...) or refer to one with "
      "fields: { rssi_dbm: { from: NAME } }";
  const Node* list = map.find(named.key);
  if (named.each.size() == 1 || list == nullptr || list->items.size() != named.each.size()) {
    reading.complain_at(map, named.key, words);
    return;
  }
  Reading::Step step(reading, named.key);
  Reading::Step inner(reading, index);
  reading.complain(list->items[index]->place, words);
}

void check_names(Reading& reading, const Node& map, const DecoderSettings& decoder) {
  static const auto quantities = quantity_names();
  const auto named = named_values(map, decoder);
  if (!named) return;
  for (std::size_t i = 0; i < named->each.size(); ++i) {
    const auto& names = named->each[i];
    const bool reached = std::any_of(names.begin(), names.end(), [&](const std::string& name) {
      return feeds_any(name, quantities, decoder);
    });
    if (!reached) complain_unreached(reading, map, *named, i);
  }
  check_from(reading, map, *named, decoder);
}

void check_separator(Reading& reading, const Node& map, const DecoderSettings& decoder) {
  const Node* node = map.find("separator");
  if (node == nullptr || node->kind != Node::Kind::text) return;
  if (decoder.kind == DecoderKind::csv && node->text.find('"') != std::string::npos)
    reading.complain_at(map, "separator", "columns cannot be separated by quotes");
  if (decoder.kind == DecoderKind::pairs && node->text.find_first_of("=\"") != std::string::npos)
    reading.complain_at(map, "separator", "pairs cannot be separated by quotes or =");
}

template <class Items, class Name>
void check_repeats(Reading& reading, const Node& map, std::string_view key_name, const Items& items,
                   Name name_of_item) {
  const Node* list = map.find(key_name);
  if (list == nullptr || list->items.size() != items.size()) return;
  Reading::Step step(reading, key_name);
  std::set<std::string_view> seen;
  for (std::size_t i = 0; i < items.size(); ++i) {
    const std::string& item_name = name_of_item(items[i]);
    if (item_name.empty() || item_name == "-" || seen.insert(item_name).second) continue;
    Reading::Step inner(reading, i);
    reading.complain(list->items[i]->place, "the name " + item_name + " is given twice");
  }
}

void check_packed_names(Reading& reading, const Node& map, const DecoderSettings& decoder) {
  const Node* list = map.find("packed");
  if (list == nullptr || list->items.size() != decoder.packed.size()) return;
  Reading::Step step(reading, "packed");
  for (std::size_t i = 0; i < decoder.packed.size(); ++i) {
    const std::string& name = decoder.packed[i].name;
    if (name.empty() || feeds_any(name, canonical_names(), decoder)) continue;
    Reading::Step inner(reading, i);
    reading.complain_at(*list->items[i], "name",
                        name + " is neither a canonical key nor one that fields refer to");
  }
}

void check_required(Reading& reading, const Node& map, const DecoderSettings& decoder) {
  const auto absent = [&](std::string_view name) { return map.find(name) == nullptr; };
  if (decoder.kind == DecoderKind::pattern && absent("pattern") && absent("patterns"))
    reading.complain_at(map, "decoder", "needs pattern: 'EXPRESSION' beside it");
  if (decoder.kind == DecoderKind::packed && absent("packed"))
    reading.complain_at(map, "decoder", "needs packed: [{ name, at, type }, ...] beside it");
  if (!absent("pattern") && !absent("patterns"))
    reading.complain_at(map, "patterns", "give either pattern or patterns");
}

void check_link_rule(Reading& reading, const Node& map, const DecoderSettings& decoder) {
  const auto rule = decoder.fields.find("link");
  if (rule == decoder.fields.end() || (rule->second.scale == 1 && rule->second.offset == 0)) return;
  const Node* node = find(&map, {"fields", "link"});
  Reading::Step step(reading, "fields");
  Reading::Step inner(reading, "link");
  reading.complain(node == nullptr ? map.place : node->place,
                   "a name has neither scale nor offset");
}

}  // namespace

std::string_view name_of(DecoderKind kind) {
  switch (kind) {
    case DecoderKind::json: return "json";
    case DecoderKind::pairs: return "pairs";
    case DecoderKind::csv: return "csv";
    case DecoderKind::pattern: return "pattern";
    case DecoderKind::senml: return "senml";
    case DecoderKind::packed: return "packed";
  }
  return "json";
}

Reader<DecoderKind> decoder_word() {
  std::vector<std::pair<std::string_view, DecoderKind>> words;
  using enum DecoderKind;
  for (const auto kind : {json, pairs, csv, pattern, senml, packed})
    words.emplace_back(name_of(kind), kind);
  return word_of<DecoderKind>(std::move(words));
}

Reader<std::string> expression() {
  return [](Reading& reading, const Node& node, std::string& out) {
    if (!text(kMaxExpressionBytes)(reading, node, out)) return false;
    const auto compiled = compile(out);
    if (compiled->ok()) return true;
    reading.refuse(node, "an RE2 expression (" + compiled->error() + ")");
    out.clear();
    return false;
  };
}

Reader<std::vector<std::string>> one_expression() {
  return [](Reading& reading, const Node& node, std::vector<std::string>& out) {
    std::string one;
    if (!expression()(reading, node, one)) return false;
    out = {std::move(one)};
    return true;
  };
}

Reader<std::vector<PackedField>> packed_fields() {
  return list_of<PackedField>(packed_section(),
                              "a list of at most 256 maps { name, at, type, order }", 256);
}

Reader<std::map<std::string, FieldRule>> field_rules() {
  return [](Reading& reading, const Node& node, std::map<std::string, FieldRule>& out) {
    if (node.kind != Node::Kind::map && node.kind != Node::Kind::nothing) {
      reading.refuse(node, "a map { QUANTITY: { from, scale, offset, bits } }");
      return false;
    }
    for_each_entry(reading, node, [&](const Entry& entry) {
      Reading::Step step(reading, entry.key);
      if (is_canonical(entry.key))
        field_rule_section()(reading, *entry.value, out[entry.key]);
      else
        complain_unknown(reading, entry.place, entry.key, canonical_names());
    });
    return true;
  };
}

void check_decoder(Reading& reading, const Node& map, const PortSettings& port) {
  const auto& decoder = port.decoder;
  check_required(reading, map, decoder);
  check_owners(reading, map, decoder.kind);
  check_repeats(reading, map, "columns", decoder.columns,
                [](const std::string& name) -> const std::string& { return name; });
  check_repeats(reading, map, "packed", decoder.packed,
                [](const PackedField& field) -> const std::string& { return field.name; });
  check_packed_names(reading, map, decoder);
  check_link_rule(reading, map, decoder);
  check_separator(reading, map, decoder);
  check_names(reading, map, decoder);
}

}  // namespace fadeward::config
