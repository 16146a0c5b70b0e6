#include "fadeward/base/thread.hpp"

#include <gtest/gtest.h>
#include <pthread.h>
#include <signal.h>

#include <array>
#include <future>
#include <string>

namespace fadeward::thread_test {
namespace {

bool blocked(int signal) {
  sigset_t now;
  pthread_sigmask(SIG_SETMASK, nullptr, &now);
  return sigismember(&now, signal) == 1;
}

TEST(Thread, HasAllSignalsBlockedAndItsName) {
  const bool before = blocked(SIGTERM);
  bool term = false, hup = false;
  std::array<char, 16> name{};
  std::promise<void> looked_at;
  std::thread thread = start_thread("tested", [&] {
    term = blocked(SIGTERM);
    hup = blocked(SIGHUP);
    looked_at.get_future().wait();
  });
  pthread_getname_np(thread.native_handle(), name.data(), name.size());
  looked_at.set_value();
  thread.join();
  EXPECT_TRUE(term && hup);
  EXPECT_EQ(std::string(name.data()), "tested");
  EXPECT_EQ(blocked(SIGTERM), before) << "the one that began it is as before";
}

}  // namespace
}  // namespace fadeward::thread_test
