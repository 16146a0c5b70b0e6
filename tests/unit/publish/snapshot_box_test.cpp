#include "fadeward/publish/snapshot_box.hpp"

#include <gtest/gtest.h>

#include <thread>
#include <vector>

namespace fadeward::publish::snapshot_box_test {
namespace {

TEST(SnapshotBox, IsNeverEmpty) {
  SnapshotBox box;
  EXPECT_TRUE(box.load().snapshot->links.empty());
  EXPECT_FALSE(box.load().program->ready);
  box.store(nullptr);
  EXPECT_NE(box.load().snapshot, nullptr);
}

TEST(SnapshotBox, EveryChangeIsANewVersionAndOldOnesStay) {
  SnapshotBox box;
  const Published before = box.load();
  box.change([](ProgramState& state) { state.ready = true; });
  box.store(std::make_shared<const judge::Snapshot>());
  const Published after = box.load();
  EXPECT_GT(after.version, before.version);
  EXPECT_FALSE(before.program->ready);
  EXPECT_TRUE(after.program->ready);
}

// Counted edits from several threads: none may be lost. Also food for the thread sanitizer.
TEST(SnapshotBox, ThreadsDoNotLoseEdits) {
  SnapshotBox box;
  std::vector<std::thread> threads;
  for (int t = 0; t < 4; ++t) {
    threads.emplace_back([&box] {
      for (int i = 0; i < 250; ++i) {
        box.change([](ProgramState& state) { ++state.history_write_errors; });
        box.store(std::make_shared<const judge::Snapshot>());
        EXPECT_NE(box.load().snapshot, nullptr);
      }
    });
  }
  for (auto& thread : threads) thread.join();
  EXPECT_EQ(box.load().program->history_write_errors, 1000U);
  EXPECT_EQ(box.load().version, 2000U);
}

}  // namespace
}  // namespace fadeward::publish::snapshot_box_test
