#include "fadeward/app/report_order.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <vector>

namespace fadeward::app::report_order_test {
namespace {

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

struct Sent {
  Time time;
  double seq;
};

class Feed {
 public:
  bool put(Time time, double seq) {
    LinkReport& report = order.slot();
    report.clear();
    report.timed = true;
    report.time = time;
    report.index = 0;
    report.set(Field::seq, seq);
    const bool taken = order.commit();
    drain();
    return taken;
  }
  void drain() {
    while (const LinkReport* report = order.peek()) {
      out.push_back({report->time, (*report)[Field::seq]});
      order.pop();
    }
  }
  void finish() {
    order.finish();
    drain();
  }
  ReportOrder order;
  std::vector<Sent> out;
};

TEST(ReportOrder, DisorderUpToAMinuteIsPutRight) {
  for (unsigned seed = 1; seed <= 10; ++seed) {
    std::mt19937 random(seed);
    std::vector<std::pair<Time, Sent>> arrivals;   // by arrival, up to 59 s after its time
    for (int i = 0; i < 5000; ++i) {
      const Time time = kStart + std::chrono::milliseconds{i * 700};
      const auto delay = seed % 2 == 0 || i % 10 == 0 ? std::chrono::milliseconds{random() % 29000} : std::chrono::milliseconds{0};
      arrivals.push_back({time + delay, {time, static_cast<double>(i)}});
    }
    std::stable_sort(arrivals.begin(), arrivals.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    Feed feed;
    for (const auto& [at, sent] : arrivals) ASSERT_TRUE(feed.put(sent.time, sent.seq)) << "seed " << seed;
    feed.finish();
    ASSERT_EQ(feed.out.size(), arrivals.size()) << "seed " << seed;
    for (std::size_t i = 0; i < feed.out.size(); ++i) ASSERT_EQ(feed.out[i].seq, static_cast<double>(i)) << "seed " << seed;
  }
}

TEST(ReportOrder, EqualTimesKeepTheOrderOfArrival) {
  Feed feed;
  for (int i = 0; i < 100; ++i) feed.put(kStart, i);
  feed.put(kStart + std::chrono::seconds{30}, 1000);
  for (int i = 100; i < 110; ++i) feed.put(kStart, i);
  feed.finish();
  for (int i = 0; i < 110; ++i) EXPECT_EQ(feed.out[static_cast<std::size_t>(i)].seq, i);
}

TEST(ReportOrder, WhatIsTooLateIsRefused) {
  Feed feed;
  feed.put(kStart, 1);
  feed.put(kStart + std::chrono::seconds{61}, 2);   // lets the first go
  EXPECT_TRUE(feed.put(kStart + std::chrono::seconds{1}, 3));
  EXPECT_TRUE(feed.put(kStart + std::chrono::seconds{200}, 4));
  EXPECT_FALSE(feed.put(kStart + std::chrono::seconds{2}, 5));
  feed.finish();
  EXPECT_EQ(feed.out.size(), 4U);
}

// One report with a wild time far ahead must not carry the others along.
TEST(ReportOrder, ALoneReportFromTheFutureWaits) {
  Feed feed;
  for (int i = 0; i < 1000; ++i) {
    if (i == 500) feed.put(kStart + std::chrono::hours{24 * 365}, 9999);
    ASSERT_TRUE(feed.put(kStart + std::chrono::seconds{i * 10}, i));
  }
  feed.finish();
  ASSERT_EQ(feed.out.size(), 1001U);
  EXPECT_EQ(feed.out.back().seq, 9999);
  for (int i = 0; i < 1000; ++i) EXPECT_EQ(feed.out[static_cast<std::size_t>(i)].seq, i);
}

}  // namespace
}  // namespace fadeward::app::report_order_test
