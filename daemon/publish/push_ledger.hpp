// The counts of all push targets on their way to the ProgramState.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fadeward/publish/program_state.hpp"
#include "fadeward/publish/snapshot_box.hpp"

namespace fadeward::publish {

/// One thread.
class PushLedger {
 public:
  /// Makes the rows of a target; those that are there stay as they are.
  void open(const std::string& target, const std::vector<std::string>& reasons);
  /// Removes the rows of targets that are not among these.
  void keep_only(const std::vector<std::string>& targets);

  /// Of a target that was opened.
  PushTally& tally(const std::string& target);
  void set_behind(const std::string& target, Duration behind);
  void drop(const std::string& target, std::string_view reason, std::uint64_t count);

  /// Into the box, if anything changed since the last time.
  void publish(SnapshotBox& box);

 private:
  std::vector<PushTally> tallies_;
  std::vector<PushDropped> dropped_;
  bool changed_ = true;
};

}  // namespace fadeward::publish
