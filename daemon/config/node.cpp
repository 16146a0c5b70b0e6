#include "node.hpp"

#include <yaml-cpp/yaml.h>

#include <algorithm>
#include <optional>
#include <sstream>
#include <unordered_map>
#include <utility>

#include "utf8.hpp"
#include "yaml-cpp/eventhandler.h"

namespace fadeward::config {
namespace {

Place place_of(const YAML::Mark& mark) {
  return mark.is_null() ? Place{} : Place{mark.line + 1, mark.column + 1};
}

// Leaves the parser of the library from inside its callbacks; caught in read_tree.
struct Refusal {
  SyntaxError error;
};

[[noreturn]] void refuse(Place place, std::string words) {
  throw Refusal{{place, std::move(words)}};
}

class TreeBuilder final : public YAML::EventHandler {
 public:
  NodePtr take_root() { return std::move(root_); }

  void OnDocumentStart(const YAML::Mark&) override {}
  void OnDocumentEnd() override {}

  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    finish(start(Node::Kind::nothing, place_of(mark)), anchor);
  }

  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& value) override {
    check_tag(tag, place_of(mark));
    auto node = start(Node::Kind::text, place_of(mark));
    node->plain = tag.empty() || tag == "?";
    node->text = value;
    node->bytes = value.size();
    count(0, node->bytes, node->place);
    finish(std::move(node), anchor);
  }

  void OnAlias(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    const Place place = place_of(mark);
    const auto found = anchors_.find(anchor);
    if (found == anchors_.end()) refuse(place, "an alias inside its own anchor");
    const Node& node = *found->second;
    if (static_cast<int>(open_.size()) + node.height > kMaxDepth + 1) refuse_depth(place);
    count(node.weight, node.bytes, place);
    attach(found->second, place);
  }

  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value) override {
    open(Node::Kind::list, mark, tag, anchor);
  }
  void OnSequenceEnd() override { close(); }

  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value) override {
    open(Node::Kind::map, mark, tag, anchor);
  }
  void OnMapEnd() override { close(); }

 private:
  struct Open {
    std::shared_ptr<Node> node;
    YAML::anchor_t anchor;
    std::optional<std::pair<std::string, Place>> key;  // map: waits for its value
  };

  static void check_tag(const std::string& tag, Place place) {
    static constexpr std::string_view kCore = "tag:yaml.org,2002:";
    if (tag.empty() || tag == "?" || tag == "!" || tag.compare(0, kCore.size(), kCore) == 0) return;
    refuse(place, "tags have no meaning here");
  }

  std::shared_ptr<Node> start(Node::Kind kind, Place place) {
    count(1, 0, place);
    auto node = std::make_shared<Node>();
    node->kind = kind;
    node->place = place;
    return node;
  }

  void open(Node::Kind kind, const YAML::Mark& mark, const std::string& tag,
            YAML::anchor_t anchor) {
    const Place place = place_of(mark);
    check_tag(tag, place);
    if (static_cast<int>(open_.size()) >= kMaxDepth) refuse_depth(place);
    if (in_key()) refuse(place, "a key must be a plain word");
    open_.push_back({start(kind, place), anchor, {}});
  }

  void close() {
    Open done = std::move(open_.back());
    open_.pop_back();
    finish(std::move(done.node), done.anchor);
  }

  bool in_key() const {
    return !open_.empty() && open_.back().node->kind == Node::Kind::map && !open_.back().key;
  }

  void finish(std::shared_ptr<Node> node, YAML::anchor_t anchor) {
    if (node->kind == Node::Kind::nothing && !open_.empty() && open_.back().key)
      node->place = open_.back().key->second;
    if (anchor != 0) anchors_[anchor] = node;
    const Place place = node->place;
    attach(std::move(node), place);
  }

  void attach(NodePtr node, Place place) {
    if (open_.empty()) {
      root_ = std::move(node);
    } else if (in_key()) {
      if (node->kind != Node::Kind::text) refuse(place, "a key must be a plain word");
      open_.back().key.emplace(node->text, place);
      add_load(*open_.back().node, *node);
    } else {
      place_in(open_.back(), std::move(node));
    }
  }

  static void place_in(Open& parent, NodePtr node) {
    add_load(*parent.node, *node);
    if (parent.node->kind == Node::Kind::list) {
      parent.node->items.push_back(std::move(node));
      return;
    }
    parent.node->entries.push_back(
        {std::move(parent.key->first), parent.key->second, std::move(node)});
    parent.key.reset();
  }

  static void add_load(Node& parent, const Node& child) {
    parent.weight += child.weight;
    parent.bytes += child.bytes;
    parent.height = std::max(parent.height, child.height + 1);
  }

  void count(std::size_t nodes, std::size_t bytes, Place place) {
    nodes_ += nodes;
    bytes_ += bytes;
    if (nodes_ > kMaxNodes)
      refuse(place, "more than " + std::to_string(kMaxNodes) + " values, aliases included");
    if (bytes_ > kMaxExpandedBytes) refuse(place, "more than 4 MiB of text, aliases included");
  }

  [[noreturn]] static void refuse_depth(Place place) {
    refuse(place, "nested deeper than " + std::to_string(kMaxDepth) + " levels");
  }

  std::vector<Open> open_;
  std::unordered_map<YAML::anchor_t, NodePtr> anchors_;
  NodePtr root_;
  std::size_t nodes_ = 0;
  std::size_t bytes_ = 0;
};

Place place_at(std::string_view text, std::size_t offset) {
  const auto before = text.substr(0, offset);
  const auto line_start = before.rfind('\n') == before.npos ? 0 : before.rfind('\n') + 1;
  return {static_cast<int>(std::count(before.begin(), before.end(), '\n')) + 1,
          static_cast<int>(offset - line_start) + 1};
}

std::optional<SyntaxError> check_text(std::string_view text) {
  const std::size_t bad = first_bad_character(text);
  if (bad == text.size()) return {};
  return SyntaxError{place_at(text, bad), "a byte that is neither UTF-8 text nor a line end"};
}

SyntaxError error_of(const YAML::Exception& error, std::string_view text) {
  if (error.msg == YAML::ErrorMsg::EOF_IN_SCALAR) {
    const auto last = text.find_last_not_of(" \n\r\t");
    return {place_at(text, last == text.npos ? 0 : last), "not YAML: a quote is never closed"};
  }
  return {place_of(error.mark), "not YAML: " + error.msg};
}

std::variant<NodePtr, SyntaxError> build(std::string_view text) {
  // The library takes a quote that is still open at a final line end for closed: a last comment
  // keeps it from ending there.
  std::istringstream stream{std::string(text) + "\n#"};
  YAML::Parser parser(stream);
  TreeBuilder builder;
  if (!parser.HandleNextDocument(builder)) return std::make_shared<const Node>();
  NodePtr root = builder.take_root();
  TreeBuilder second;
  if (parser.HandleNextDocument(second)) {
    const NodePtr other = second.take_root();
    return SyntaxError{other ? other->place : Place{}, "a second document: only one is read"};
  }
  return root ? root : std::make_shared<const Node>();
}

}  // namespace

const Node* Node::find(std::string_view key) const {
  const auto found = std::find_if(entries.begin(), entries.end(),
                                  [key](const Entry& entry) { return entry.key == key; });
  return found == entries.end() ? nullptr : found->value.get();
}

const Node* find(const Node* node, std::initializer_list<std::string_view> keys) {
  for (const auto key : keys) node = node == nullptr ? nullptr : node->find(key);
  return node;
}

std::variant<NodePtr, SyntaxError> read_tree(std::string_view yaml_text) {
  if (auto error = check_text(yaml_text)) return *error;
  try {
    return build(yaml_text);
  } catch (const Refusal& refusal) {
    return refusal.error;
  } catch (const YAML::Exception& error) {
    return error_of(error, yaml_text);
  } catch (const std::exception& error) {
    return SyntaxError{{}, std::string("not YAML: ") + error.what()};
  }
}

}  // namespace fadeward::config
