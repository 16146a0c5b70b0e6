// Every alert series that is exported, active or not, in a form that is quick to walk.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "fadeward/judge/snapshot.hpp"

namespace fadeward::publish {

/// One alert of a link or port with its direction: which series it is.
struct AlertCell {
  AlertName alert;
  std::optional<Direction> direction;
};
inline constexpr std::size_t kAlertCells = kAlertNames * (1 + kDirections);  // fits in 64 bits

inline constexpr AlertCell alert_cell(std::size_t index) {
  const auto slot = index % (1 + kDirections);
  AlertCell cell{static_cast<AlertName>(index / (1 + kDirections)), {}};
  if (slot > 0) cell.direction = static_cast<Direction>(slot - 1);
  return cell;
}
inline constexpr std::size_t cell_index(AlertName alert, std::optional<Direction> direction) {
  return static_cast<std::size_t>(alert) * (1 + kDirections) +
         (direction ? 1 + static_cast<std::size_t>(*direction) : 0);
}

/// The alerts of one link or one port. Bit n of a mask stands for alert_cell(n).
struct AlertRow {
  std::uint64_t exported = 0;
  std::uint64_t active = 0;
  std::array<Severity, kAlertCells> severity{};  ///< none where not active
  std::array<Cause, kAlertCells> cause{};        ///< valid where active
};

/// Which series exist: from the start those that the scope of each alert allows; one beyond that
/// joins when its alert is first seen, and stays (at 0) as long as the link or port is configured.
class AlertTable {
 public:
  /// No allocation unless links or ports were added, removed or renamed.
  void load(const judge::Snapshot& snapshot);

  /// Rises whenever a row has changed, or which link or port it belongs to.
  std::uint64_t version() const { return version_; }

  const std::vector<AlertRow>& links() const { return links_.rows; }  ///< index = LinkIndex
  const std::vector<AlertRow>& ports() const { return ports_.rows; }  ///< index = PortIndex

 private:
  struct Owners {
    std::vector<std::string> names;
    std::vector<AlertRow> rows;
  };
  /// An alert as it was taken into a row.
  struct Mark {
    Owners* owners;
    std::size_t row;
    std::size_t cell;
    bool active;
    Severity severity;
    Cause cause;
    bool operator==(const Mark&) const = default;
  };
  /// True if these are not the owners of before.
  template <class Items>
  static bool follow(Owners& owners, const Items& items, std::uint64_t from_the_start);
  void mark(Owners& owners, std::size_t row, const judge::AlertState& alert);

  Owners links_;
  Owners ports_;
  std::vector<Mark> marks_;
  std::vector<Mark> marks_before_;
  std::uint64_t version_ = 0;
};

}  // namespace fadeward::publish
