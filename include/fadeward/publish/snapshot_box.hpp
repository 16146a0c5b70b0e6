// Where the thread of the core leaves its newest snapshot for everybody who serves it.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>

#include "fadeward/judge/snapshot.hpp"
#include "fadeward/publish/program_state.hpp"

namespace fadeward::publish {

/// One consistent pair. Neither pointer is ever null; what they point to never changes.
struct Published {
  judge::SnapshotPtr snapshot;
  std::shared_ptr<const ProgramState> program;
  std::uint64_t version = 0;  ///< grows with every store() and change()
};

/// Thread-safe. The lock is held for the exchange of a pointer only. Before the first store() it
/// holds an empty snapshot at the Unix epoch.
class SnapshotBox {
 public:
  explicit SnapshotBox(ProgramState program = {});

  /// A null pointer is ignored.
  void store(judge::SnapshotPtr snapshot);

  /// Applies `edit` to a copy of the program's state and publishes the copy. `edit` runs under a
  /// lock of its own that readers do not take: it may be slow, but must not call change() again.
  void change(const std::function<void(ProgramState&)>& edit);

  Published load() const;

 private:
  mutable std::mutex mutex_;
  std::mutex edit_mutex_;
  Published held_;
};

}  // namespace fadeward::publish
