// The core as a whole: what a report costs, with how many links, and what a link weighs.
//
//   bench_supervisor            100 and 2,000 links side by side: ns per report
//
// Counters: allocations per report once warm (must be 0), bytes per link (heap in use before and
// after). Reports are made up here: seeded, both directions, one per link and 10 s.
#include <benchmark/benchmark.h>
#include <malloc.h>

#include <atomic>
#include <cmath>
#include <cstdlib>
#include <new>
#include <random>
#include <string>
#include <vector>

#include "fadeward/judge/supervisor.hpp"

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

namespace fadeward {
namespace {

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

Settings make_settings(int links) {
  Settings settings;
  settings.ports.resize(1);
  settings.ports[0].name = "mast";
  for (int i = 0; i < links; ++i) {
    LinkSettings link;
    link.name = "L" + std::to_string(i + 1);
    link.radio.modulation = RadioSettings::Modulation::css;
    link.radio.spreading_factor = 7;
    link.radio.bandwidth_hz = 125000;
    link.budget.inbound_signal_dbm = link.budget.outbound_signal_dbm = -100;
    settings.links.push_back(link);
  }
  return settings;
}

class Traffic {
 public:
  Traffic(int links, int channels) : links_(links), channels_(channels), levels_(65536) {
    std::mt19937 random(1);
    std::normal_distribution<double> fading(0, 3);
    for (float& level : levels_) level = static_cast<float>(std::round(fading(random)));
  }
  /// The next report, ready to be taken; time moves on by 10 s per round of all links.
  const LinkReport& next() {
    const auto link = static_cast<LinkIndex>(count_ % static_cast<std::uint64_t>(links_));
    const std::uint64_t round = count_ / static_cast<std::uint64_t>(links_);
    const float level = levels_[count_ * 7919 % levels_.size()];
    ++count_;
    report_.clear();
    report_.index = link;
    report_.port = 0;
    report_.set(Field::seq, static_cast<double>(round));
    report_.set(Field::rssi_dbm, -100 + level);
    report_.set(Field::snr_db, 8 + level / 4);
    report_.set(Field::noise_dbm, -117);
    if (channels_ > 1) report_.set(Field::channel, static_cast<double>(round * 7 % static_cast<std::uint64_t>(channels_)));
    report_.set(Field::far_rssi_dbm, -101 + level);
    report_.set(Field::far_snr_db, 7 + level / 4);
    report_.set(Field::far_noise_dbm, -116);
    now.wall = kStart + Duration{static_cast<std::int64_t>(count_ * 10'000'000 / static_cast<std::uint64_t>(links_))};
    now.steady = now.wall.time_since_epoch();
    return report_;
  }
  Instant now{kStart, kStart.time_since_epoch()};

 private:
  int links_, channels_;
  std::uint64_t count_ = 0;
  std::vector<float> levels_;
  LinkReport report_;
};

void feed(judge::Supervisor& supervisor, Traffic& traffic, std::int64_t& minute) {
  const LinkReport& report = traffic.next();
  const std::int64_t now_minute = traffic.now.wall.time_since_epoch().count() / 60'000'000;
  if (now_minute != minute) {
    minute = now_minute;
    supervisor.tick(traffic.now);
    supervisor.clear_events();
  }
  supervisor.take(report, traffic.now);
}

void BM_Report(benchmark::State& state) {
  const auto links = static_cast<int>(state.range(0)), channels = static_cast<int>(state.range(1));
  const auto heap_before = mallinfo2().uordblks;
  Traffic traffic(links, channels);
  judge::Supervisor supervisor(make_settings(links), traffic.now);
  std::int64_t minute = 0;
  for (int i = 0; i < links * 500; ++i) feed(supervisor, traffic, minute);   // an hour and more: full windows
  const auto heap_after = mallinfo2().uordblks;
  const std::uint64_t allocations_before = allocations.load();
  for (auto _ : state) feed(supervisor, traffic, minute);
  state.counters["allocs_per_report"] =
      static_cast<double>(allocations.load() - allocations_before) / static_cast<double>(state.iterations());
  state.counters["bytes_per_link"] = static_cast<double>(heap_after - heap_before) / links;
}
BENCHMARK(BM_Report)->Args({100, 1})->Args({100, 50})->Args({2000, 1});

void BM_Snapshot(benchmark::State& state) {
  const auto links = static_cast<int>(state.range(0));
  Traffic traffic(links, 1);
  judge::Supervisor supervisor(make_settings(links), traffic.now);
  std::int64_t minute = 0;
  for (int i = 0; i < links * 400; ++i) feed(supervisor, traffic, minute);
  for (auto _ : state) benchmark::DoNotOptimize(supervisor.snapshot(traffic.now));
}
BENCHMARK(BM_Snapshot)->Arg(100)->Arg(1000)->Unit(benchmark::kMillisecond);

void BM_Minute(benchmark::State& state) {
  Traffic traffic(100, 1);
  judge::Supervisor supervisor(make_settings(100), traffic.now);
  std::int64_t minute = 0;
  for (int i = 0; i < 100 * 400; ++i) feed(supervisor, traffic, minute);
  Instant now = traffic.now;
  for (auto _ : state) {
    now.wall += std::chrono::minutes{1};
    now.steady += std::chrono::minutes{1};
    supervisor.tick(now);
    supervisor.clear_events();
  }
  state.counters["us_per_link"] = benchmark::Counter(static_cast<double>(state.iterations()) * 100 / 1e6,
                                                      benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}
BENCHMARK(BM_Minute);

}  // namespace
}  // namespace fadeward

BENCHMARK_MAIN();
