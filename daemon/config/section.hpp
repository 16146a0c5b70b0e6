// From nodes to fields: small readers that are put together into tables.
//
// A Reader<V> reads a node into a V and complains where it cannot. A Section<T> is the table of one
// map of the file: each key stands once, with its target and its reader, which knows type, range
// and the words for them.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "reading.hpp"

namespace fadeward::config {

/// False if it complained; the target may then be half written.
template <class V>
using Reader = std::function<bool(Reading&, const Node&, V&)>;

template <class T>
struct Key {
  std::string_view name;
  Reader<T> read;  ///< into the whole T
  bool required = false;
};

/// A key whose value goes to one field: `target` is a member pointer or a function T& -> field&.
/// A field of type std::optional<V> is filled by a Reader<V>.
template <class T, class V, class Target>
Key<T> key(std::string_view name, Target target, Reader<V> reader) {
  auto read = [target, reader = std::move(reader)](Reading& reading, const Node& node, T& out) {
    auto& field = std::invoke(target, out);
    if constexpr (std::is_same_v<std::remove_reference_t<decltype(field)>, V>) {
      return reader(reading, node, field);
    } else {
      V value{};
      if (field) value = *field;
      if (!reader(reading, node, value)) return false;
      field = std::move(value);
      return true;
    }
  };
  return {name, std::move(read)};
}

template <class T>
Key<T> required(Key<T> made) {
  made.required = true;
  return made;
}

/// Entries of a map in order; repeated keys are complained about and left out.
void for_each_entry(Reading& reading, const Node& map,
                    const std::function<void(const Entry&)>& take);

void complain_unknown(Reading& reading, Place place, std::string_view key,
                      const std::vector<std::string_view>& known);

template <class T>
class Section {
 public:
  /// Looks at several fields together, after all keys were read (some may have failed).
  using Finish = void (*)(Reading&, const Node& map, T&);

  explicit Section(std::vector<Key<T>> keys, Finish finish = nullptr)
      : keys_(std::move(keys)), finish_(finish) {
    for (const auto& each : keys_) names_.push_back(each.name);
  }

  /// Changes only what the map names. An empty value is an empty map.
  bool operator()(Reading& reading, const Node& node, T& out) const {
    if (node.kind != Node::Kind::map && node.kind != Node::Kind::nothing) {
      reading.refuse(node, "a map with keys out of: " + listed(names_));
      return false;
    }
    for_each_entry(reading, node, [&](const Entry& entry) { read_entry(reading, entry, out); });
    for (const auto& each : keys_)
      if (each.required && node.find(each.name) == nullptr)
        reading.complain(node.place, std::string(each.name) + " is missing");
    if (finish_ != nullptr) finish_(reading, node, out);
    return true;
  }

 private:
  void read_entry(Reading& reading, const Entry& entry, T& out) const {
    Reading::Step step(reading, entry.key);
    for (const auto& each : keys_) {
      if (each.name != entry.key) continue;
      each.read(reading, *entry.value, out);
      return;
    }
    complain_unknown(reading, entry.place, entry.key, names_);
  }

  std::vector<Key<T>> keys_;
  std::vector<std::string_view> names_;
  Finish finish_;
};

/// A list that replaces what stood in the target. Items that fail stay in their place, so that
/// positions in the list and in the target agree.
template <class V>
Reader<std::vector<V>> list_of(Reader<V> reader, std::string allowed, std::size_t most = 10'000) {
  return [=](Reading& reading, const Node& node, std::vector<V>& out) {
    out.clear();
    if (node.kind == Node::Kind::nothing) return true;
    if (node.kind != Node::Kind::list || node.items.size() > most) {
      reading.refuse(node, allowed);
      return false;
    }
    bool good = true;
    for (std::size_t i = 0; i < node.items.size(); ++i) {
      Reading::Step step(reading, i);
      good = reader(reading, *node.items[i], out.emplace_back()) && good;
    }
    return good;
  };
}

/// One of several words.
template <class E>
Reader<E> word_of(std::vector<std::pair<std::string_view, E>> words) {
  return [words = std::move(words)](Reading& reading, const Node& node, E& out) {
    std::vector<std::string_view> known;
    for (const auto& [word, value] : words) {
      known.push_back(word);
      if (node.kind != Node::Kind::text || node.text != word) continue;
      out = value;
      return true;
    }
    reading.refuse(node, "one of " + listed(known));
    return false;
  };
}

}  // namespace fadeward::config
