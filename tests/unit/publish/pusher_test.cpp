// The pusher against a receiver of our own, with a clock that the test moves: a history that cannot
// be read, and an end that is not held up.
#include "fadeward/publish/pusher.hpp"

#include <gtest/gtest.h>
#include <snappy.h>

#include <atomic>
#include <chrono>
#include <filesystem>
#include <mutex>
#include <string>
#include <vector>

#include "fadeward/history/store.hpp"
#include "support/loopback_server.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/sample_bins.hpp"
#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::pusher_test {
namespace {

using namespace std::chrono_literals;

/// Takes everything with 204, or never says a word.
class Receiver {
 public:
  std::size_t count() {
    const std::lock_guard guard(mutex_);
    return bodies_.size();
  }
  /// Live requests hold the series "up", those of the backlog do not (name and value of a label are
  /// fields 1 and 2 of a protobuf message).
  bool is_live(std::size_t i) {
    const std::lock_guard guard(mutex_);
    std::string message;
    EXPECT_TRUE(snappy::Uncompress(bodies_[i].data(), bodies_[i].size(), &message));
    return message.find("__name__\x12\x02up") != message.npos;
  }
  std::uint16_t port() const { return server_.port; }
  std::atomic<bool> silent = false;
  std::atomic<int> silenced = 0;

 private:
  void serve(test::LoopbackServer::Peer& peer) {
    while (const auto request = peer.read()) {
      if (silent) {
        ++silenced;
        continue;
      }
      const std::lock_guard guard(mutex_);
      bodies_.push_back(request->body);
      peer.say("HTTP/1.1 204 No Content\r\n\r\n");
    }
  }
  std::mutex mutex_;
  std::vector<std::string> bodies_;
  test::LoopbackServer server_{[this](test::LoopbackServer::Peer& peer) { serve(peer); }};
};

class PusherTest : public ::testing::Test {
 protected:
  PusherTest() { move(0s); }
  /// A pusher whose second takes a millisecond.
  void start(const std::string& history_dir) {
    PushOutside outside;
    outside.now = [this] {
      const Duration passed{passed_.load()};
      return Instant{begin + passed, passed};
    };
    outside.real = [](Duration span) { return std::max<Duration>(span / 1000, 1ms); };
    outside.log = [](PushTone, const std::string&) {};
    outside.history_dir = history_dir;
    pusher = std::make_unique<Pusher>(box, std::move(outside));
    PushSettings settings;
    settings.remote_write.emplace();
    settings.remote_write->url = "http://127.0.0.1:" + std::to_string(receiver.port()) + "/w";
    pusher->configure(settings, {});
    pusher->start();
  }
  void move(Duration by) {
    passed_ += by.count();
    auto snapshot = testing::two_links();
    snapshot.time = begin + Duration{passed_.load()};
    snapshot.clock_trusted = true;
    box.store(std::make_shared<const judge::Snapshot>(std::move(snapshot)));
  }
  /// Second by second for so long, or until it holds.
  template <class Holds>
  bool goes_on(Duration at_most, Holds holds) {
    for (Duration passed{}; passed < at_most; passed += 1s) {
      if (holds()) return true;
      move(1s);
      std::this_thread::sleep_for(2ms);
    }
    return holds();
  }
  const Time begin = test::at(test::kApril2031) + 5min;
  test::TempDir dir;
  Receiver receiver;
  SnapshotBox box;
  std::unique_ptr<Pusher> pusher;

 private:
  std::atomic<Duration::rep> passed_ = 0;
};

TEST_F(PusherTest, AHistoryThatIsGoneDoesNotHoldUpLiveSamplesForGood) {
  start(dir / "gone");
  ASSERT_TRUE(goes_on(10min, [this] { return receiver.count() >= 3; }));
  move(40min);
  const std::size_t before = receiver.count();
  EXPECT_TRUE(goes_on(10min, [&] { return receiver.count() >= before + 3; }));
}

TEST_F(PusherTest, WhatCannotBeReadForAWhileIsSentLater) {
  {
    const auto store = std::move(history::Store::open(dir / "h", {})).value();
    test::BinMaker maker(5);
    history::Batch batch;
    for (int quarter = 0; quarter < 4; ++quarter)
      batch.bins.push_back({"weir", Direction::inbound,
                            maker.make(test::at(test::kApril2031) + kBinSpan * quarter, 40)});
    ASSERT_TRUE(store->write(batch));
  }
  start(dir / "h");
  ASSERT_TRUE(goes_on(10min, [this] { return receiver.count() >= 3; }));
  std::filesystem::rename(dir / "h", dir / "away");
  const std::size_t before = receiver.count();
  move(40min);
  EXPECT_FALSE(goes_on(1min, [&] { return receiver.count() > before; })) << "the backlog comes first";
  std::filesystem::rename(dir / "away", dir / "h");
  ASSERT_TRUE(goes_on(5min, [&] { return receiver.count() >= before + 4; }));
  EXPECT_FALSE(receiver.is_live(before));
  EXPECT_TRUE(receiver.is_live(receiver.count() - 1));
}

TEST_F(PusherTest, ASilentReceiverHoldsUpTheEndNoLongerThanItMay) {
  receiver.silent = true;
  start("");
  ASSERT_TRUE(goes_on(1min, [this] { return receiver.silenced > 0; }));
  const auto asked = std::chrono::steady_clock::now();
  pusher->stop(400ms);
  EXPECT_LT(std::chrono::steady_clock::now() - asked, 900ms);
}

}  // namespace
}  // namespace fadeward::publish::pusher_test
