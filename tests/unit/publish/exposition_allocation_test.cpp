// A scrape must not disturb the heap of a program that runs for years.
#include <gtest/gtest.h>

#include <cstdlib>
#include <new>

#include "fadeward/publish/exposition.hpp"
#include "unit/publish/fixtures.hpp"

namespace {
thread_local bool counting = false;
thread_local int allocations = 0;
}  // namespace

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool kCounts = false;   // the sanitizers bring their own, stricter operators
#else
constexpr bool kCounts = true;

// Not inlined: the compiler would see malloc here and delete there, and warn.
[[gnu::noinline]] void* operator new(std::size_t size) {
  if (counting) ++allocations;
  if (void* at = std::malloc(size)) return at;
  throw std::bad_alloc();
}
[[gnu::noinline]] void operator delete(void* at) noexcept { std::free(at); }
[[gnu::noinline]] void operator delete(void* at, std::size_t) noexcept { std::free(at); }
#endif

namespace fadeward::publish::exposition_allocation_test {
namespace {

TEST(Exposition, AllocatesNothingOnceWarm) {
  if (!kCounts) GTEST_SKIP() << "allocations are not counted under a sanitizer";
  testing::Scene scene;
  for (int i = 0; i < 50; ++i) {
    scene.snapshot.links.push_back(testing::known_link("a longer name " + std::to_string(i)));
  }
  auto alert = testing::alert_of(AlertName::InterferenceSuspected, 3, Severity::warning);
  alert.cause = Cause::near_noise;
  scene.snapshot.alerts = {alert};
  scene.program.push_dropped = {{"http://alertmanager.example:9093", "refused", 0}};
  TextBuffer out;
  const ExpositionInput input{scene.snapshot, scene.program, scene.process, scene.http, scene.build};
  for (int round = 0; round < 3; ++round) {
    out.clear();
    counting = round > 0;
    allocations = 0;
    scene.exposition.write(input, Format::prometheus_text, out);
    counting = false;
    EXPECT_EQ(allocations, 0) << "round " << round;
  }
  EXPECT_GT(out.size(), 100000U);
}

}  // namespace
}  // namespace fadeward::publish::exposition_allocation_test
