// What planning costs: one budget over a long profile, what-if variants of it, the list of
// improvements, reading the profile and drawing it. Promised: a budget over 3,000 points within 5 ms,
// profile and all, and 10,000 variants a second.
#include <benchmark/benchmark.h>

#include <cmath>
#include <string>
#include <vector>

#include "fadeward/budget/report.hpp"

namespace {

using namespace fadeward;
using namespace fadeward::budget;

constexpr int kPoints = 3000;

/// Hills of several sizes and a wood, 30 km: the line of sight is obstructed, so all of it is work.
std::string profile_text() {
  std::string out = "distance_km,height_m,clutter_m\n";
  for (int i = 0; i < kPoints; ++i) {
    const double km = 0.01 * i;
    const double height_m = 120 + 30 * std::sin(km / 3) + 9 * std::sin(km * 2.3) + 3 * std::sin(km * 17);
    out += std::to_string(km) + "," + std::to_string(height_m) + "," +
           std::to_string(i % 400 < 90 ? 12 : 0) + "\n";
  }
  return out;
}

const Profile& profile() {
  static const Profile parsed = parse_profile(profile_text()).value();
  return parsed;
}

LinkSettings settings() {
  LinkSettings link;
  link.name = "bench";
  link.radio.modulation = RadioSettings::Modulation::css;
  link.radio.spreading_factor = 9;
  link.radio.bandwidth_hz = 125e3;
  link.budget.frequency_mhz = 915;
  link.budget.profile = "path.csv";
  link.budget.near = {20, 2.15, 1.2, 0, 12, {}};
  link.budget.far = {20, 2.15, 1.2, 0, 12, {}};
  link.rules.set = "us-15.247-hopping";
  link.rules.channels = 50;
  link.rules.dwell_s = 0.4;
  return link;
}

/// From the text of the profile to the printed budget.
void whole_budget(benchmark::State& state) {
  const std::string text = profile_text();
  const LinkSettings link = settings();
  for (auto _ : state) {
    const Profile read = parse_profile(text).value();
    benchmark::DoNotOptimize(to_text(std::vector{plan_of(link, &read)}));
  }
}
BENCHMARK(whole_budget)->Unit(benchmark::kMillisecond);

void read_profile(benchmark::State& state) {
  const std::string text = profile_text();
  for (auto _ : state) benchmark::DoNotOptimize(parse_profile(text));
}
BENCHMARK(read_profile)->Unit(benchmark::kMicrosecond);

/// Another height each time: terrain, clearance, both directions, rules and cautions anew.
void what_if(benchmark::State& state) {
  LinkSettings link = settings();
  int i = 0;
  for (auto _ : state) {
    link.budget.near.height_m = 5 + i++ % 50;
    benchmark::DoNotOptimize(compute(link, &profile()));
  }
  state.SetItemsProcessed(state.iterations());  // variants a second
}
BENCHMARK(what_if)->Unit(benchmark::kMicrosecond);

void list_of_improvements(benchmark::State& state) {
  const LinkSettings link = settings();
  for (auto _ : state) benchmark::DoNotOptimize(improvements(link, &profile()));
}
BENCHMARK(list_of_improvements)->Unit(benchmark::kMicrosecond);

void page(benchmark::State& state) {
  const std::vector plans{plan_of(settings(), &profile())};
  for (auto _ : state) benchmark::DoNotOptimize(to_html(plans));
}
BENCHMARK(page)->Unit(benchmark::kMicrosecond);

}  // namespace

BENCHMARK_MAIN();
