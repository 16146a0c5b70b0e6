// No allocation per report once the link's buffers have grown.
#include <gtest/gtest.h>

#include <atomic>
#include <cmath>
#include <cstdlib>
#include <new>

#include "fadeward/judge/supervisor.hpp"

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)

TEST(SupervisorAllocation, CountedInOrdinaryBuildsOnly) { GTEST_SKIP() << "the sanitizer owns operator new"; }

#else

namespace {
std::atomic<std::uint64_t> allocations{0};
}

[[gnu::noinline]] void* operator new(std::size_t size) {
  allocations.fetch_add(1, std::memory_order_relaxed);
  if (void* memory = std::malloc(size)) return memory;
  throw std::bad_alloc();
}
[[gnu::noinline]] void operator delete(void* memory) noexcept { std::free(memory); }
[[gnu::noinline]] void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }

namespace fadeward::judge::supervisor_allocation_test {
namespace {

TEST(SupervisorAllocation, NonePerReportOnceWarm) {
  Settings settings;
  settings.ports.resize(1);
  settings.ports[0].name = "mast";
  settings.links.resize(2);
  settings.links[0].name = "weir";
  settings.links[1].name = "ridge";
  Instant now{Time{std::chrono::seconds{1'893'456'000}}, Duration{}};
  Supervisor supervisor(settings, now);
  PortEvent opened;
  opened.port = 0;
  supervisor.note(opened, now);
  LinkReport report;
  const auto run = [&](int rounds, int from) {
    for (int i = from; i < from + rounds; ++i) {
      now.wall += std::chrono::seconds{5};
      now.steady += std::chrono::seconds{5};
      report.clear();
      report.port = 0;
      report.link = i % 2 == 0 ? "weir" : "ridge";
      report.set(Field::seq, i / 2);
      report.set(Field::rssi_dbm, -100 - i % 7);
      report.set(Field::snr_db, 8 - i % 5);
      report.set(Field::channel, i * 7 % 50);
      report.set(Field::far_rssi_dbm, -101 - i % 5);
      report.set(Field::far_snr_db, 7);
      report.set(Field::tx_frames, i);
      report.set(Field::far_rx_frames, i);
      report.set(Field::latency_s, 0.3);
      supervisor.tick(now);
      supervisor.take(report, now);
      supervisor.clear_events();
    }
  };
  run(6000, 0);
  const std::uint64_t before = allocations.load();
  run(6000, 6000);
  EXPECT_EQ(allocations.load() - before, 0U);
}

}  // namespace
}  // namespace fadeward::judge::supervisor_allocation_test

#endif
