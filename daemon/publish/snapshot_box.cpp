#include "fadeward/publish/snapshot_box.hpp"

#include <utility>

namespace fadeward::publish {

SnapshotBox::SnapshotBox(ProgramState program)
    : held_{std::make_shared<const judge::Snapshot>(),
            std::make_shared<const ProgramState>(std::move(program)), 0} {}

void SnapshotBox::store(judge::SnapshotPtr snapshot) {
  if (!snapshot) return;
  const std::lock_guard lock(mutex_);
  held_.snapshot.swap(snapshot);  // the old one is released after the lock
  ++held_.version;
}

void SnapshotBox::change(const std::function<void(ProgramState&)>& edit) {
  const std::lock_guard edit_lock(edit_mutex_);
  auto changed = std::make_shared<ProgramState>(*load().program);
  edit(*changed);
  const std::lock_guard lock(mutex_);
  held_.program = std::move(changed);
  ++held_.version;
}

Published SnapshotBox::load() const {
  const std::lock_guard lock(mutex_);
  return held_;
}

}  // namespace fadeward::publish
