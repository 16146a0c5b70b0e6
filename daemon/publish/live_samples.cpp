#include "fadeward/publish/live_samples.hpp"

#include <cmath>
#include <initializer_list>
#include <string_view>

#include "alert_table.hpp"
#include "fadeward/publish/exposition.hpp"
#include "fadeward/publish/families.hpp"
#include "family_table.hpp"
#include "series_labels.hpp"

namespace fadeward::publish {

namespace {

constexpr std::size_t kMostRefused = 1000;
constexpr Duration kRefusedFor = std::chrono::hours{1};

std::uint64_t hash_of(std::string_view labels) { return std::hash<std::string_view>{}(labels); }

template <class Take>
class BatchEmitter {
 public:
  BatchEmitter(const judge::Snapshot& snapshot, SeriesLabels& labels, Take take)
      : snapshot_(snapshot), labels_(labels), take_(std::move(take)) {}
  void family(std::string_view name) { name_ = name; }

  template <class Value>
  void link(std::size_t i, Value value) {
    put({name(), {"link", snapshot_.links[i].name}}, value);
  }
  template <class Value>
  void direction(std::size_t i, Direction direction, Value value) {
    put({name(), {"direction", name_of(direction)}, {"link", snapshot_.links[i].name}}, value);
  }
  void window(std::size_t i, Direction direction, std::size_t window, double value) {
    put({name(),
         {"direction", name_of(direction)},
         {"link", snapshot_.links[i].name},
         {"window", kWindowNames[window]}},
        value);
  }
  void info(std::size_t i, std::string_view port) {
    put({name(), {"link", snapshot_.links[i].name}, {"port", port}}, 1.0);
  }
  void channel(std::size_t i, Direction direction, std::string_view channel, double value) {
    put({name(),
         {"channel", channel},
         {"direction", name_of(direction)},
         {"link", snapshot_.links[i].name}},
        value);
  }
  void alert(Owner owner, std::size_t i, std::size_t cell, std::uint64_t value) {
    alert(owner, i, cell, "", value);
  }
  void cause(Owner owner, std::size_t i, std::size_t cell, Cause cause) {
    alert(owner, i, cell, name_of(cause), std::uint64_t{1});
  }
  template <class Value>
  void port(std::size_t i, Value value) {
    put({name(), {"port", snapshot_.ports[i].name}}, value);
  }
  void port_reason(std::size_t i, std::string_view reason, std::uint64_t value) {
    put({name(), {"port", snapshot_.ports[i].name}, {"reason", reason}}, value);
  }
  void push(const std::string& target, const std::string& reason, std::uint64_t value) {
    put({name(), {"reason", reason}, {"target", target}}, value);
  }
  template <class Value>
  void push_target(const std::string& target, Value value) {
    put({name(), {"target", target}}, value);
  }
  void reason(std::string_view reason, std::uint64_t value) {
    put({name(), {"reason", reason}}, value);
  }
  void plain(double value) { put({name()}, value); }
  void build(const BuildInfo& info) {
    put({name(),
         {"compiler", info.compiler},
         {"revision", info.revision},
         {"version", info.version}},
        1.0);
  }

 private:
  WriteLabel name() const { return {"__name__", name_}; }
  /// Empty values vanish in append_labels.
  void alert(Owner owner, std::size_t i, std::size_t index, std::string_view cause,
             std::uint64_t value) {
    const AlertCell cell = alert_cell(index);
    const bool of_link = owner == Owner::link;
    put({name(),
         {"alert", name_of(cell.alert)},
         {"cause", cause},
         {"direction", cell.direction ? name_of(*cell.direction) : ""},
         {"link", of_link ? std::string_view(snapshot_.links[i].name) : ""},
         {"port", of_link ? "" : std::string_view(snapshot_.ports[i].name)}},
        value);
  }
  template <class Value>
  void put(std::initializer_list<WriteLabel> own, Value value) {
    const auto number = static_cast<double>(value);
    if (std::isfinite(number))
      take_(labels_.with({own.begin(), own.size()}), rounded_for_transport(number));
  }

  const judge::Snapshot& snapshot_;
  SeriesLabels& labels_;
  Take take_;
  std::string_view name_;
};

bool is_pushed(std::string_view family) {
  return family.starts_with("fadeward_") && !family.starts_with("fadeward_http_");
}

}  // namespace

struct LiveSamples::Tables {
  AlertTable alerts;
};

LiveSamples::LiveSamples() : tables_(std::make_unique<Tables>()) {}
LiveSamples::~LiveSamples() = default;

std::map<std::string, std::string> pushed_labels(
    const std::map<std::string, std::string>& external_labels, const std::string& host_name) {
  auto out = external_labels;
  if (out.empty()) out.emplace("instance", host_name);
  out.emplace("job", "fadeward");
  return out;
}

void LiveSamples::take(const Published& published, const std::map<std::string, std::string>& labels,
                       std::int64_t milliseconds, WriteBatch& out) {
  out.clear();
  const std::uint32_t moment = out.add_moment(milliseconds);
  std::unordered_set<std::uint64_t> present;
  left_out_ = 0;
  const auto take = [&](std::string_view series, double value) {
    const std::uint64_t hash = hash_of(series);
    if (!refused_.empty() && refused_.contains(hash)) {
      ++left_out_;
      return;
    }
    if (!present.insert(hash).second) return;  // the same series twice would poison the request
    out.add_series(series);
    out.add_sample(moment, value);
  };
  SeriesLabels all(labels);
  const WriteLabel up[] = {{"__name__", "up"}};
  take(all.with(up), 1);
  BatchEmitter emitter(*published.snapshot, all, take);
  static const BuildInfo kBuild{FADEWARD_VERSION, "", ""};
  const ProcessUsage process;
  const HttpTally http;
  const ExpositionInput input{*published.snapshot, *published.program, process, http, kBuild};
  tables_->alerts.load(*published.snapshot);
  SampleWalk walk(input, tables_->alerts, emitter);
  for (std::size_t i = 0; i < families().size(); ++i) {
    if (!is_pushed(families()[i].name)) continue;
    emitter.family(families()[i].name);
    walk.run(sources()[i]);
  }
  ends_from_ = out.series();
  for (const auto& [hash, series] : open_) {
    if (present.contains(hash)) continue;
    out.add_series(series);
    out.add_sample(moment, kStaleMarker);
  }
}

void LiveSamples::take_ends(std::int64_t milliseconds, WriteBatch& out) const {
  out.clear();
  const std::uint32_t moment = out.add_moment(milliseconds);
  for (const auto& [hash, series] : open_) {
    out.add_series(series);
    out.add_sample(moment, kStaleMarker);
  }
}

void LiveSamples::accepted(const WriteBatch& batch, const WritePiece& piece) {
  for (std::uint32_t i = piece.first; i < piece.last; ++i) {
    const std::string_view series = batch.labels(i);
    if (i < ends_from_)
      open_.try_emplace(hash_of(series), series);
    else
      open_.erase(hash_of(series));
  }
}

void LiveSamples::refused(const WriteBatch& batch, const WritePiece& piece, bool forever,
                          Duration steady_now) {
  std::erase_if(refused_,
                [steady_now](const auto& item) { return steady_now - item.second > kRefusedFor; });
  for (std::uint32_t i = piece.first; i < piece.last; ++i) {
    const std::uint64_t hash = hash_of(batch.labels(i));
    if (i >= ends_from_ || forever) open_.erase(hash);  // its end would be refused as well
    if (i < ends_from_ && forever && refused_.size() < kMostRefused)
      refused_.emplace(hash, steady_now);
  }
}

}  // namespace fadeward::publish
