#include "alert_table.hpp"

#include <algorithm>
#include <unordered_map>

namespace fadeward::publish {

namespace {

static_assert(kAlertCells <= 64);

constexpr std::array kSuspected = {AlertName::FadingSuspected, AlertName::InterferenceSuspected,
                                   AlertName::EquipmentSuspected};

std::uint64_t bit(AlertName alert, std::optional<Direction> direction) {
  return std::uint64_t{1} << cell_index(alert, direction);
}
std::uint64_t both_directions(AlertName alert) {
  return bit(alert, Direction::inbound) | bit(alert, Direction::outbound);
}

std::uint64_t link_cells_from_the_start() {
  std::uint64_t mask = 0;
  for (std::size_t i = 0; i < kAlertNames; ++i) {
    const auto alert = static_cast<AlertName>(i);
    switch (judge::scope_of(alert)) {
      case judge::AlertScope::direction: mask |= both_directions(alert); break;
      case judge::AlertScope::link: mask |= bit(alert, {}); break;
      case judge::AlertScope::port: break;
    }
  }
  for (const AlertName alert : kSuspected) mask |= bit(alert, {}) | both_directions(alert);
  return mask;
}

/// The same near-side change on several links of a port becomes one alert of the port.
std::uint64_t port_cells_from_the_start() {
  return bit(AlertName::PortFault, {}) | bit(AlertName::InterferenceSuspected, {}) |
         bit(AlertName::EquipmentSuspected, {});
}

}  // namespace

template <class Items>
bool AlertTable::follow(Owners& owners, const Items& items, std::uint64_t from_the_start) {
  const bool same =
      std::equal(items.begin(), items.end(), owners.names.begin(), owners.names.end(),
                 [](const auto& item, const std::string& name) { return item.name == name; });
  if (!same) {
    std::unordered_map<std::string, std::uint64_t> known;
    for (std::size_t i = 0; i < owners.names.size(); ++i) {
      known.emplace(owners.names[i], owners.rows[i].exported);
    }
    owners.names.clear();
    owners.rows.assign(items.size(), {});
    for (std::size_t i = 0; i < items.size(); ++i) {
      owners.names.push_back(items[i].name);
      const auto found = known.find(items[i].name);
      owners.rows[i].exported = from_the_start | (found == known.end() ? 0 : found->second);
    }
  }
  for (AlertRow& row : owners.rows) {
    row.active = 0;
    row.severity.fill(Severity::none);
  }
  return !same;
}

void AlertTable::mark(Owners& owners, std::size_t index_of_row, const judge::AlertState& alert) {
  AlertRow& row = owners.rows[index_of_row];
  const std::size_t index = cell_index(alert.alert, alert.direction);
  const std::uint64_t cell = std::uint64_t{1} << index;
  row.exported |= cell;
  marks_.push_back({&owners, index_of_row, index, alert.active, alert.severity, alert.cause});
  if (!alert.active) return;
  row.active |= cell;
  row.severity[index] = alert.severity;
  row.cause[index] = alert.cause;
}

void AlertTable::load(const judge::Snapshot& snapshot) {
  static const std::uint64_t link_cells = link_cells_from_the_start();
  bool changed = follow(links_, snapshot.links, link_cells);
  changed |= follow(ports_, snapshot.ports, port_cells_from_the_start());
  marks_.swap(marks_before_);
  marks_.clear();
  for (const judge::AlertState& alert : snapshot.alerts) {
    if (alert.link < links_.rows.size()) {
      mark(links_, alert.link, alert);
    } else if (alert.link == kNoLink && alert.port < ports_.rows.size()) {
      mark(ports_, alert.port, alert);
    }
  }
  if (!changed && marks_ == marks_before_) return;
  ++version_;
  marks_before_.reserve(marks_.size());  // the next time nothing is allocated
}

}  // namespace fadeward::publish
