// The YAML document as a plain tree with places, within limits.
#pragma once

#include <cstddef>
#include <memory>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace fadeward::config {

/// Both counted from 1; the column counts bytes until it is printed.
struct Place {
  int line = 1;
  int column = 1;
};

struct Node;
using NodePtr = std::shared_ptr<const Node>;  // shared, since aliases refer to the same node

struct Entry {
  std::string key;
  Place place;
  NodePtr value;
};

struct Node {
  enum class Kind { nothing, text, list, map };
  Kind kind = Kind::nothing;
  Place place;         ///< nothing: the place of its key
  bool plain = false;  ///< text: written without quotes and without a tag
  std::string text;
  std::vector<NodePtr> items;  ///< list
  std::vector<Entry> entries;  ///< map, in the order of the file; keys may repeat
  std::size_t weight = 1;      ///< nodes below and including this one, aliases counted anew
  std::size_t bytes = 0;       ///< text in them
  int height = 1;

  /// The value of the first entry with this key; null if there is none or this is no map.
  const Node* find(std::string_view key) const;
};

/// The value under a chain of keys; null where one is missing.
const Node* find(const Node* node, std::initializer_list<std::string_view> keys);

struct SyntaxError {
  Place place;
  std::string words;
};

inline constexpr int kMaxDepth = 32;
inline constexpr std::size_t kMaxNodes = 200'000;
inline constexpr std::size_t kMaxExpandedBytes = std::size_t{4} << 20;

/// One document. Refused: what is not YAML, control characters, invalid UTF-8, foreign tags, keys
/// that are no scalars, a second document, and anything beyond the limits above.
std::variant<NodePtr, SyntaxError> read_tree(std::string_view yaml_text);

}  // namespace fadeward::config
