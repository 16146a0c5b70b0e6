#include "fadeward/publish/collectable.hpp"

#include <prometheus/metric_family.h>

#include <cmath>
#include <mutex>
#include <string>
#include <utility>

#include "alert_table.hpp"
#include "fadeward/publish/exposition.hpp"
#include "family_table.hpp"

namespace fadeward::publish {

namespace {

using Label = prometheus::ClientMetric::Label;
using Labels = std::vector<Label>;

class FamilyEmitter {
 public:
  FamilyEmitter(const judge::Snapshot& snapshot, prometheus::MetricFamily& family)
      : snapshot_(snapshot), family_(family) {}

  template <class Value>
  void link(std::size_t i, Value value) {
    add({link_label(i)}, value);
  }
  template <class Value>
  void direction(std::size_t i, Direction direction, Value value) {
    add({link_label(i), direction_label(direction)}, value);
  }
  void window(std::size_t i, Direction direction, std::size_t window, double value) {
    add({link_label(i), direction_label(direction), {"window", std::string(kWindowNames[window])}},
        value);
  }
  void info(std::size_t i, const std::string& port) {
    add({link_label(i), {"port", port}}, std::uint64_t{1});
  }
  void channel(std::size_t i, Direction direction, std::string_view channel, double value) {
    add({link_label(i), direction_label(direction), {"channel", std::string(channel)}}, value);
  }
  void alert(Owner owner, std::size_t i, std::size_t cell, std::uint64_t value) {
    add(alert_labels(owner, i, cell), value);
  }
  void cause(Owner owner, std::size_t i, std::size_t cell, Cause cause) {
    Labels labels = alert_labels(owner, i, cell);
    labels.push_back({"cause", std::string(name_of(cause))});
    add(std::move(labels), std::uint64_t{1});
  }
  template <class Value>
  void port(std::size_t i, Value value) {
    add({port_label(i)}, value);
  }
  void port_reason(std::size_t i, std::string_view reason, std::uint64_t value) {
    add({port_label(i), {"reason", std::string(reason)}}, value);
  }
  void push(const std::string& target, const std::string& reason, std::uint64_t value) {
    add({{"target", target}, {"reason", reason}}, value);
  }
  template <class Value>
  void push_target(const std::string& target, Value value) {
    add({{"target", target}}, value);
  }
  void reason(std::string_view reason, std::uint64_t value) {
    add({{"reason", std::string(reason)}}, value);
  }
  void plain(double value) { add({}, value); }
  void build(const BuildInfo& info) {
    add({{"version", info.version}, {"revision", info.revision}, {"compiler", info.compiler}},
        std::uint64_t{1});
  }

 private:
  Label link_label(std::size_t i) const { return {"link", snapshot_.links[i].name}; }
  Label port_label(std::size_t i) const { return {"port", snapshot_.ports[i].name}; }
  static Label direction_label(Direction direction) {
    return {"direction", std::string(name_of(direction))};
  }
  Labels alert_labels(Owner owner, std::size_t i, std::size_t index) const {
    const AlertCell cell = alert_cell(index);
    Labels labels{owner == Owner::link ? link_label(i) : port_label(i)};
    if (cell.direction) labels.push_back(direction_label(*cell.direction));
    labels.push_back({"alert", std::string(name_of(cell.alert))});
    return labels;
  }
  template <class Value>
  void add(Labels labels, Value value) {
    const auto number = static_cast<double>(value);
    if (!std::isfinite(number)) return;
    prometheus::ClientMetric metric;
    metric.label = std::move(labels);
    if (family_.type == prometheus::MetricType::Counter) {
      metric.counter.value = number;
    } else {
      metric.gauge.value = number;
    }
    family_.metric.push_back(std::move(metric));
  }

  const judge::Snapshot& snapshot_;
  prometheus::MetricFamily& family_;
};

}  // namespace

struct SnapshotCollectable::State {
  std::mutex mutex;
  AlertTable alerts;
};

SnapshotCollectable::SnapshotCollectable(const SnapshotBox& box, BuildInfo build)
    : box_(box), build_(std::move(build)), state_(std::make_unique<State>()) {}
SnapshotCollectable::~SnapshotCollectable() = default;

std::vector<prometheus::MetricFamily> SnapshotCollectable::Collect() const {
  const Published now = box_.load();
  const ProcessUsage process = read_process_usage();
  const HttpTally http;
  const ExpositionInput input{*now.snapshot, *now.program, process, http, build_};
  const std::lock_guard lock(state_->mutex);
  state_->alerts.load(*now.snapshot);
  std::vector<prometheus::MetricFamily> out;
  for (std::size_t i = 0; i < families().size(); ++i) {
    const Family& info = families()[i];
    prometheus::MetricFamily family;
    family.name = info.name;
    family.help = info.help;
    family.type = info.kind == MetricKind::counter ? prometheus::MetricType::Counter
                                                   : prometheus::MetricType::Gauge;
    FamilyEmitter emitter(*now.snapshot, family);
    SampleWalk(input, state_->alerts, emitter).run(sources()[i]);
    if (!family.metric.empty()) out.push_back(std::move(family));
  }
  return out;
}

}  // namespace fadeward::publish
