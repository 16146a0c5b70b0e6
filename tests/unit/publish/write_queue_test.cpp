#include "fadeward/publish/write_queue.hpp"

#include <gtest/gtest.h>

#include <functional>
#include <set>
#include <utility>

namespace fadeward::publish::write_queue_test {
namespace {

using Cell = std::pair<std::uint32_t, std::uint32_t>;   ///< series, moment

WriteBatch full(std::uint32_t series, std::uint32_t moments) {
  WriteBatch out;
  for (std::uint32_t m = 0; m < moments; ++m) out.add_moment(m * 900000);
  for (std::uint32_t s = 0; s < series; ++s) {
    out.add_series("series" + std::to_string(s));
    for (std::uint32_t m = 0; m < moments; ++m) out.add_sample(m, 1);
  }
  return out;
}

/// A receiver that refuses every request with one of these in it.
struct Outcome {
  std::set<Cell> taken, lost;
  int requests = 0;
};
Outcome play(const WriteBatch& batch, const std::function<bool(Cell)>& poison, bool by_time,
             std::size_t most = WriteQueue::kMostSamples) {
  Outcome out;
  WriteQueue queue;
  queue.begin(batch, most);
  const auto each = [](const WritePiece& piece, const auto& visit) {
    for (auto s = piece.first; s < piece.last; ++s)
      for (auto m = piece.from; m < piece.to; ++m) visit(Cell{s, m});
  };
  while (!queue.empty() && ++out.requests < 100000) {
    const WritePiece piece = queue.front();
    bool bad = false;
    each(piece, [&](Cell cell) { bad |= poison(cell); });
    if (!bad) {
      each(piece, [&](Cell cell) { EXPECT_TRUE(out.taken.insert(cell).second); });
      queue.accepted();
    } else if (const auto lost = queue.refused(by_time)) {
      each(*lost, [&](Cell cell) { EXPECT_TRUE(out.lost.insert(cell).second); });
    }
  }
  EXPECT_EQ(out.taken.size() + out.lost.size(), batch.size()) << "each sample ends in one of both";
  return out;
}

TEST(WriteQueue, CutsIntoRequestsOfABoundedSize) {
  const auto batch = full(11, 3);
  WriteQueue queue;
  queue.begin(batch, 10);
  std::size_t samples = 0;
  int pieces = 0;
  for (; !queue.empty(); queue.accepted(), ++pieces) {
    EXPECT_LE(batch.count(queue.front()), 10U);
    samples += batch.count(queue.front());
  }
  EXPECT_EQ(samples, 33U);
  EXPECT_EQ(pieces, 4);
  queue.begin(WriteBatch{});
  EXPECT_TRUE(queue.empty());
}

TEST(WriteQueue, FindsOnePoisonSampleAndLosesItAlone) {
  const auto batch = full(5000, 1);
  for (const std::uint32_t where : {0U, 1U, 2499U, 2500U, 4999U}) {
    const auto got = play(batch, [where](Cell cell) { return cell.first == where; }, false);
    EXPECT_EQ(got.lost, (std::set<Cell>{{where, 0}}));
    EXPECT_LE(got.requests, 2 * 13 + 1);
  }
}

TEST(WriteQueue, FindsSeveralOnBothAxes) {
  const auto batch = full(20, 30);
  const std::set<Cell> bad{{3, 7}, {3, 8}, {17, 29}};
  for (const bool by_time : {false, true})
    EXPECT_EQ(play(batch, [&](Cell cell) { return bad.contains(cell); }, by_time).lost, bad);
}

// A window at the server shorter than ours: the older half of the moments goes, the rest is kept.
TEST(WriteQueue, SplitsByTimeWhereTimeIsBlamed) {
  const auto batch = full(40, 96);
  const auto got = play(batch, [](Cell cell) { return cell.second < 48; }, true);
  EXPECT_EQ(got.taken.size(), 40U * 48U);
  EXPECT_LE(got.requests, 80);
}

TEST(WriteQueue, GivesUpOnAReceiverThatTakesNothing) {
  const auto got = play(full(5000, 1), [](Cell) { return true; }, false);
  EXPECT_EQ(got.lost.size(), 5000U);
  EXPECT_LE(got.requests, 2 * WriteQueue::kInARow + 2);
}

TEST(WriteQueue, AsksABoundedNumberOfTimesHoweverMuchIsBad) {
  const auto got = play(full(4096, 1), [](Cell cell) { return cell.first % 16 == 0; }, false);
  EXPECT_LE(got.requests, 4 * WriteQueue::kMostRefusals);
}

TEST(WriteQueue, WhatIsTooLargeIsHalvedUntilOneSample) {
  const auto batch = full(4, 1);
  WriteQueue queue;
  queue.begin(batch);
  int lost = 0;
  for (int i = 0; i < 100 && !queue.empty(); ++i) lost += queue.too_large().has_value();
  EXPECT_TRUE(queue.empty());
  EXPECT_EQ(lost, 4);
}

}  // namespace
}  // namespace fadeward::publish::write_queue_test
