#include "push_ledger.hpp"

#include <algorithm>

namespace fadeward::publish {

void PushLedger::open(const std::string& target, const std::vector<std::string>& reasons) {
  changed_ = true;
  if (std::ranges::find(tallies_, target, &PushTally::target) == tallies_.end()) {
    tallies_.emplace_back();
    tallies_.back().target = target;
  }
  for (const std::string& reason : reasons) {
    const bool known = std::ranges::any_of(dropped_, [&](const PushDropped& row) {
      return row.target == target && row.reason == reason;
    });
    if (!known) dropped_.push_back({target, reason, 0});
  }
}

void PushLedger::keep_only(const std::vector<std::string>& targets) {
  changed_ = true;
  const auto gone = [&](const auto& row) {
    return std::ranges::find(targets, row.target) == targets.end();
  };
  std::erase_if(tallies_, gone);
  std::erase_if(dropped_, gone);
}

PushTally& PushLedger::tally(const std::string& target) {
  changed_ = true;
  return *std::ranges::find(tallies_, target, &PushTally::target);
}

void PushLedger::set_behind(const std::string& target, Duration behind) {
  const auto row = std::ranges::find(tallies_, target, &PushTally::target);
  if (row->behind == behind) return;
  row->behind = behind;
  changed_ = true;
}

void PushLedger::drop(const std::string& target, std::string_view reason, std::uint64_t count) {
  if (count == 0) return;
  for (PushDropped& row : dropped_) {
    if (row.target != target || row.reason != reason) continue;
    row.count += count;
    changed_ = true;
  }
}

void PushLedger::publish(SnapshotBox& box) {
  if (!changed_) return;
  changed_ = false;
  box.change([this](ProgramState& state) {
    state.pushes = tallies_;
    state.push_dropped = dropped_;
  });
}

}  // namespace fadeward::publish
