// The same families as /metrics for a program that already has a prometheus-cpp registry, and the
// independent measure of our own writer.
#pragma once

#include <prometheus/collectable.h>

#include <memory>
#include <vector>

#include "fadeward/publish/program_state.hpp"
#include "fadeward/publish/snapshot_box.hpp"

namespace fadeward::publish {

/// Thread-safe. Info families are gauges here, since prometheus-cpp 1.0 knows no other kind.
class SnapshotCollectable : public prometheus::Collectable {
 public:
  /// `box` must outlive it.
  SnapshotCollectable(const SnapshotBox& box, BuildInfo build);
  ~SnapshotCollectable() override;

  /// Families without a sample are left out.
  std::vector<prometheus::MetricFamily> Collect() const override;

 private:
  struct State;
  const SnapshotBox& box_;
  BuildInfo build_;
  std::unique_ptr<State> state_;
};

}  // namespace fadeward::publish
