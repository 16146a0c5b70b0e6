#include "fadeward/app/read_ahead.hpp"

#include <gtest/gtest.h>

#include <atomic>
#include <string>

namespace fadeward::app::read_ahead_test {
namespace {

/// Reports numbered from 0; `link` points into text that changes with every call, as a reader's
/// does.
class Numbers {
 public:
  explicit Numbers(std::size_t count) : count_(count) {}
  const LinkReport* operator()() {
    if (made_ == count_) return nullptr;
    text_ = std::to_string(made_);
    report_.clear();
    report_.link = text_;
    report_.index = static_cast<LinkIndex>(made_);
    report_.set(Field::seq, static_cast<double>(made_));
    ++made_;
    return &report_;
  }

 private:
  std::size_t count_;
  std::size_t made_ = 0;
  std::string text_;
  LinkReport report_;
};

TEST(ReadAhead, HandsOutEveryReportOnceInOrder) {
  for (const std::size_t count :
       {std::size_t{0}, std::size_t{1}, ReadAhead::kBatch, ReadAhead::kBatch + 1,
        ReadAhead::kBatch * ReadAhead::kBatches * 3, std::size_t{100'003}}) {
    ReadAhead reports(Numbers{count});
    std::size_t taken = 0;
    while (const LinkReport* report = reports.next()) {
      ASSERT_EQ((*report)[Field::seq], static_cast<double>(taken));
      ASSERT_TRUE(report->link.empty());
      ++taken;
    }
    EXPECT_EQ(taken, count);
    EXPECT_EQ(reports.next(), nullptr);
  }
}

TEST(ReadAhead, KnowsTheLinksThatComeNext) {
  ReadAhead reports(Numbers{10});
  ASSERT_NE(reports.next(), nullptr);
  ASSERT_NE(reports.ahead(1), nullptr);
  EXPECT_EQ(reports.ahead(1)->index, 1U);
  ASSERT_NE(reports.ahead(9), nullptr);
  EXPECT_EQ(reports.ahead(9)->index, 9U);
  EXPECT_EQ(reports.ahead(10), nullptr);
}

TEST(ReadAhead, StopsASourceThatHasNoEnd) {
  std::atomic<std::size_t> made{0};
  {
    LinkReport report;
    ReadAhead reports([&] {
      ++made;
      return &report;
    });
    ASSERT_NE(reports.next(), nullptr);
  }
  const std::size_t at_end = made;
  EXPECT_LE(at_end, ReadAhead::kBatch * (ReadAhead::kBatches + 2));
}

TEST(ReadAhead, WhatTheSourceWroteIsThereAtTheEnd) {
  std::size_t calls = 0;  // not atomic: the thread sanitizer would tell
  LinkReport report;
  ReadAhead reports([&]() -> const LinkReport* { return ++calls > 5000 ? nullptr : &report; });
  while (reports.next() != nullptr) {
  }
  EXPECT_EQ(calls, 5001U);
}

}  // namespace
}  // namespace fadeward::app::read_ahead_test
