#include "fadeward/publish/exposition.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cstring>
#include <tuple>
#include <utility>
#include <vector>

#include "alert_table.hpp"
#include "escape.hpp"
#include "fadeward/publish/families.hpp"
#include "family_table.hpp"
#include "fadeward/publish/number_text.hpp"

namespace fadeward::publish {

namespace {

/// A short text that is copied as a whole block whatever its size: a copy of constant length is a
/// few instructions, one of variable length a call.
struct Block {
  std::array<char, 64> text{};
  std::size_t size = 0;

  Block() = default;
  explicit Block(std::string_view from) : size(from.size()) {
    assert(from.size() <= text.size());
    std::copy(from.begin(), from.end(), text.begin());
  }
};

/// Escaped names of all links or ports, each followed by enough room to be read in whole strides.
class NamePool {
 public:
  static constexpr std::size_t kStride = 32;

  template <class Items>
  void follow(const Items& items) {
    const bool same =
        std::equal(items.begin(), items.end(), names_.begin(), names_.end(),
                   [](const auto& item, const std::string& name) { return item.name == name; });
    if (same) return;
    names_.clear();
    escaped_.clear();
    begins_.assign(1, 0);
    for (const auto& item : items) {
      names_.push_back(item.name);
      append_label_value(escaped_, item.name);
      begins_.push_back(escaped_.size());
    }
    escaped_.append(kStride, ' ');
  }

  std::string_view operator[](std::size_t index) const {
    return {escaped_.data() + begins_[index], begins_[index + 1] - begins_[index]};
  }

 private:
  std::vector<std::string> names_;
  std::vector<std::size_t> begins_{0};
  std::string escaped_;
};

/// Puts rows into a buffer of its own that stays in the first-level cache, handed on when it is
/// full; or straight into the caller's buffer, which grows. The second saves a pass over memory.
class RowBuffer {
 public:
  void begin(const Exposition::Sink& sink) {
    piece_.clear();
    piece_.grow_to(kPiece);
    target_ = &piece_;
    sink_ = &sink;
  }
  void begin(TextBuffer& out) {
    target_ = &out;
    sink_ = nullptr;
  }
  void flush() {
    if (sink_ == nullptr || target_->size() == 0) return;
    (*sink_)(target_->view());
    target_->clear();
  }
  /// What follows goes into `out` until resume().
  void divert(TextBuffer& out) {
    diverted_ = {target_, sink_};
    begin(out);
  }
  void resume() { std::tie(target_, sink_) = diverted_; }

  void text(std::string_view text) {
    if (sink_ != nullptr && text.size() > kPiece) {  // no need to go through the buffer
      flush();
      return (*sink_)(text);
    }
    make_room(text.size());
    char* at = target_->end();
    std::memcpy(at, text.data(), text.size());
    target_->advance_to(at + text.size());
  }
  template <class Value>
  void row(const Block& head, std::string_view name, const Block& tail, Value value) {
    make_room(sizeof head.text + name.size() + NamePool::kStride + sizeof tail.text + kNumberRoom);
    char* at = put(target_->end(), head);
    for (std::size_t i = 0; i < name.size(); i += NamePool::kStride) {
      std::memcpy(at + i, name.data() + i, NamePool::kStride);
    }
    at = put(at + name.size(), tail);
    at = write_number(at, value);
    *at++ = '\n';
    target_->advance_to(at);
  }

 private:
  static constexpr std::size_t kPiece = 32768;

  /// Most are short, and those of one family alike: the second half is skipped without a guess.
  static char* put(char* at, const Block& block) {
    constexpr std::size_t half = sizeof block.text / 2;
    std::memcpy(at, block.text.data(), half);
    if (block.size > half) std::memcpy(at + half, block.text.data() + half, half);
    return at + block.size;
  }
  void make_room(std::size_t size) {
    if (size <= target_->room()) return;
    flush();
    if (size <= target_->room()) return;
    target_->grow_to(std::max(target_->size() + size, 2 * target_->capacity()));
  }

  TextBuffer piece_;
  TextBuffer* target_ = nullptr;
  const Exposition::Sink* sink_ = nullptr;
  std::pair<TextBuffer*, const Exposition::Sink*> diverted_;
};

/// What stands between a name and the number, made once.
struct Tails {
  Block closed{"\"} "};
  std::array<Block, kDirections> direction;
  std::array<std::array<Block, kWindowNames.size()>, kDirections> window;
  std::array<Block, kAlertCells> alert;

  Tails() {
    for (std::size_t d = 0; d < kDirections; ++d) {
      const std::string label = direction_label(static_cast<Direction>(d));
      direction[d] = Block(label + "\"} ");
      for (std::size_t w = 0; w < kWindowNames.size(); ++w) {
        window[d][w] = Block(label + "\",window=\"" + std::string(kWindowNames[w]) + "\"} ");
      }
    }
    for (std::size_t i = 0; i < kAlertCells; ++i) alert[i] = Block(alert_labels(i) + "\"} ");
  }

  /// Without the closing quote: more may follow.
  static std::string direction_label(Direction direction) {
    return "\",direction=\"" + std::string(name_of(direction));
  }
  static std::string alert_labels(std::size_t index) {
    const AlertCell cell = alert_cell(index);
    const std::string direction = cell.direction ? direction_label(*cell.direction) : "";
    return direction + "\",alert=\"" + std::string(name_of(cell.alert));
  }
};

/// What is written before the samples of a family, and in front of each of them.
struct FamilyText {
  std::string name;
  std::string text_header;  ///< Prometheus text format
  std::string openmetrics_header;
  Block link;  ///< name{link="
  Block port;

  explicit FamilyText(const Family& family)
      : name(family.name), link(name + "{link=\""), port(name + "{port=\"") {
    text_header = "# HELP " + name + ' ';
    append_help(text_header, family.help, false);
    text_header +=
        "\n# TYPE " + name + (family.kind == MetricKind::counter ? " counter\n" : " gauge\n");

    const std::string metric(openmetrics_name(family));
    openmetrics_header =
        "# TYPE " + metric + ' ' + std::string(openmetrics_type(family.kind)) + '\n';
    if (!family.unit.empty()) {
      openmetrics_header += "# UNIT " + metric + ' ' + std::string(family.unit) + '\n';
    }
    openmetrics_header += "# HELP " + metric + ' ';
    append_help(openmetrics_header, family.help, true);
    openmetrics_header += '\n';
  }

  static std::string_view openmetrics_type(MetricKind kind) {
    switch (kind) {
      case MetricKind::counter: return "counter";
      case MetricKind::info: return "info";
      case MetricKind::gauge: break;
    }
    return "gauge";
  }
};

}  // namespace

struct Exposition::State {
  std::vector<FamilyText> families;
  Tails tails;
  NamePool links;
  NamePool ports;
  AlertTable alerts;
  RowBuffer rows;
  /// The samples of an alert family, as they were at this version of the table. They are half of a
  /// scrape and seldom change.
  struct Kept {
    TextBuffer samples;
    std::uint64_t version = 0;
  };
  Kept active;
  Kept severity;
  std::string scratch;  ///< one sample with labels that are not worth preparing

  State() {
    for (const Family& family : publish::families()) families.emplace_back(family);
  }
  void write_all(const ExpositionInput& input, Format format);
  Kept* kept_of(const Source& from) {
    if (std::holds_alternative<source::AlertActive>(from)) return &active;
    if (std::holds_alternative<source::AlertSeverity>(from)) return &severity;
    return nullptr;
  }
};

namespace {

/// Writes the samples of one family; the header goes out with the first of them.
template <class State>
class TextEmitter {
 public:
  TextEmitter(State& state, bool openmetrics) : state_(state), openmetrics_(openmetrics) {}

  void start(const FamilyText& family) {
    family_ = &family;
    started_ = false;
  }
  /// No header will be written.
  void start_without_header(const FamilyText& family) {
    family_ = &family;
    started_ = true;
  }
  /// Samples that were written before.
  void samples(std::string_view text) {
    if (text.empty()) return;
    begin_sample(std::uint64_t{0});
    state_.rows.text(text);
  }

  template <class Value>
  void link(std::size_t i, Value value) {
    row(family_->link, state_.links[i], state_.tails.closed, value);
  }
  template <class Value>
  void direction(std::size_t i, Direction direction, Value value) {
    row(family_->link, state_.links[i], state_.tails.direction[index(direction)], value);
  }
  void window(std::size_t i, Direction direction, std::size_t window, double value) {
    row(family_->link, state_.links[i], state_.tails.window[index(direction)][window], value);
  }
  void info(std::size_t i, std::string_view port) {
    begin_rare("{link=\"", state_.links[i]);
    label(",port", port);
    state_.scratch += "} ";
    rare(std::uint64_t{1});
  }
  void channel(std::size_t i, Direction direction, std::string_view channel, double value) {
    begin_rare("{link=\"", state_.links[i]);
    label(",direction", name_of(direction));
    label(",channel", channel);
    state_.scratch += "} ";
    rare(value);
  }
  void alert(Owner owner, std::size_t i, std::size_t cell, std::uint64_t value) {
    if (owner == Owner::link) {
      row(family_->link, state_.links[i], state_.tails.alert[cell], value);
    } else {
      row(family_->port, state_.ports[i], state_.tails.alert[cell], value);
    }
  }
  void cause(Owner owner, std::size_t i, std::size_t cell, Cause cause) {
    std::string& text = state_.scratch;
    text = family_->name;
    text += owner == Owner::link ? "{link=\"" : "{port=\"";
    text += owner == Owner::link ? state_.links[i] : state_.ports[i];
    const Block& labels = state_.tails.alert[cell];
    text.append(labels.text.data(), labels.size - state_.tails.closed.size);
    text += "\",cause=\"";
    text += name_of(cause);
    text += "\"} ";
    rare(std::uint64_t{1});
  }
  template <class Value>
  void port(std::size_t i, Value value) {
    row(family_->port, state_.ports[i], state_.tails.closed, value);
  }
  void port_reason(std::size_t i, std::string_view reason, std::uint64_t value) {
    begin_rare("{port=\"", state_.ports[i]);
    label(",reason", reason);
    state_.scratch += "} ";
    rare(value);
  }
  void push(std::string_view target, std::string_view reason, std::uint64_t value) {
    state_.scratch = family_->name;
    label("{target", target);
    label(",reason", reason);
    state_.scratch += "} ";
    rare(value);
  }
  template <class Value>
  void push_target(std::string_view target, Value value) {
    state_.scratch = family_->name;
    label("{target", target);
    state_.scratch += "} ";
    rare(value);
  }
  void reason(std::string_view reason, std::uint64_t value) {
    state_.scratch = family_->name;
    label("{reason", reason);
    state_.scratch += "} ";
    rare(value);
  }
  void plain(double value) {
    state_.scratch = family_->name;
    state_.scratch += ' ';
    rare(value);
  }
  void build(const BuildInfo& info) {
    state_.scratch = family_->name;
    label("{version", info.version);
    label(",revision", info.revision);
    label(",compiler", info.compiler);
    state_.scratch += "} ";
    rare(std::uint64_t{1});
  }

 private:
  static std::size_t index(Direction direction) { return static_cast<std::size_t>(direction); }

  /// False for a value that must not be written.
  template <class Value>
  bool begin_sample(Value value) {
    if constexpr (std::is_same_v<Value, double>) {
      if (!std::isfinite(value)) return false;
    }
    if (!started_) {
      started_ = true;
      state_.rows.text(openmetrics_ ? family_->openmetrics_header : family_->text_header);
    }
    return true;
  }
  template <class Value>
  void row(const Block& head, std::string_view name, const Block& tail, Value value) {
    if (begin_sample(value)) state_.rows.row(head, name, tail, value);
  }
  template <class Value>
  void rare(Value value) {
    if (!begin_sample(value)) return;
    std::array<char, kNumberRoom + 1> number{};
    char* end = write_number(number.data(), value);
    *end++ = '\n';
    state_.scratch.append(number.data(), end);
    state_.rows.text(state_.scratch);
  }
  /// `owner` is escaped already.
  void begin_rare(std::string_view before, std::string_view owner) {
    state_.scratch = family_->name;
    state_.scratch += before;
    state_.scratch += owner;
    state_.scratch += '"';
  }
  void label(std::string_view before, std::string_view value) {
    state_.scratch += before;
    state_.scratch += "=\"";
    append_label_value(state_.scratch, value);
    state_.scratch += '"';
  }

  State& state_;
  const bool openmetrics_;
  const FamilyText* family_ = nullptr;
  bool started_ = false;
};

}  // namespace

void Exposition::State::write_all(const ExpositionInput& input, Format format) {
  links.follow(input.snapshot.links);
  ports.follow(input.snapshot.ports);
  alerts.load(input.snapshot);
  const bool openmetrics = format != Format::prometheus_text;
  TextEmitter emitter(*this, openmetrics);
  SampleWalk walk(input, alerts, emitter);
  const auto from = sources();
  for (std::size_t i = 0; i < from.size(); ++i) {
    Kept* const kept = kept_of(from[i]);
    if (kept != nullptr && kept->version != alerts.version()) {
      kept->samples.clear();
      rows.divert(kept->samples);
      emitter.start_without_header(families[i]);
      walk.run(from[i]);
      rows.resume();
      kept->version = alerts.version();
    }
    emitter.start(families[i]);
    if (kept != nullptr) {
      emitter.samples(kept->samples.view());
    } else {
      walk.run(from[i]);
    }
  }
  if (openmetrics) rows.text("# EOF\n");
  rows.flush();
}

Exposition::Exposition() : state_(std::make_unique<State>()) {}
Exposition::~Exposition() = default;
Exposition::Exposition(Exposition&&) noexcept = default;
Exposition& Exposition::operator=(Exposition&&) noexcept = default;

void Exposition::write(const ExpositionInput& input, Format format, const Sink& sink) {
  state_->rows.begin(sink);
  state_->write_all(input, format);
}

void Exposition::write(const ExpositionInput& input, Format format, TextBuffer& out) {
  state_->rows.begin(out);
  state_->write_all(input, format);
}

}  // namespace fadeward::publish
