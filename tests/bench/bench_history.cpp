// The history: reading a direction-year, starting beside five years of a hundred links.
#include <benchmark/benchmark.h>

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "fadeward/history/reader.hpp"
#include "fadeward/history/store.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/sample_bins.hpp"

namespace {

using namespace fadeward;
using namespace fadeward::history;

StoreOptions quick() {
  StoreOptions options;
  options.durable = false;
  return options;
}

/// Both directions of one link with fifty hop channels over a year; written once.
const std::string& year_of_one_link() {
  static const test::TempDir dir;
  static const std::string path = [] {
    const std::string made = dir / "year";
    auto store = std::move(Store::open(made, quick())).value();
    test::BinMaker maker(1, 50);
    for (int q = 0; q < 96 * 365; ++q) {
      const Time start = test::at(test::kApril2031) + kBinSpan * q;
      Batch batch;
      for (const Direction d : {Direction::inbound, Direction::outbound})
        batch.bins.push_back({"weir", d, maker.make(start)});
      static_cast<void>(store->write(batch));
      for (int turn = 0; turn < 9 && *store->tidy(start + kBinSpan); ++turn) {
      }
    }
    return made;
  }();
  return path;
}

void ReadADirectionYear(benchmark::State& state) {
  auto reader = std::move(Reader::open(year_of_one_link())).value();
  std::uint64_t frames = 0;
  for (auto _ : state)
    reader.bins("weir", Direction::inbound, Time::min(), Time::max(),
                [&](const Summary& bin) { frames += bin.frames; });
  benchmark::DoNotOptimize(frames);
  double bytes = 0;
  for (const auto& file : std::filesystem::directory_iterator(year_of_one_link()))
    bytes += static_cast<double>(file.file_size());
  state.counters["MB_per_link_year"] = bytes / 1e6;
}
BENCHMARK(ReadADirectionYear)->Unit(benchmark::kMillisecond);

/// To the first write, beside sixty months.
void StartBesideFiveYears(benchmark::State& state) {
  const test::TempDir dir;
  std::filesystem::create_directory(dir / "years");
  const std::string month = year_of_one_link() + "/history-2031-04.sqlite";
  for (int i = 0; i < 60; ++i)
    std::filesystem::copy_file(
        month, dir / ("years/" + file_name({2026 + i / 12, static_cast<unsigned>(1 + i % 12)})));
  test::BinMaker maker(2);
  int q = 0;
  for (auto _ : state) {
    auto store = std::move(Store::open(dir / "years", quick())).value();
    Batch batch;
    batch.bins.push_back(
        {"weir", Direction::inbound, maker.make(test::at(test::kApril2031) + kBinSpan * q++)});
    static_cast<void>(store->write(batch));
  }
}
BENCHMARK(StartBesideFiveYears)->Unit(benchmark::kMillisecond);

/// What the kernel counts as written to the device for this process, without the journal of the
/// file system. Nothing where the directory is in memory.
double written_bytes() {
  std::ifstream io("/proc/self/io");
  std::string key;
  double value = 0;
  while (io >> key >> value)
    if (key == "write_bytes:") return value;
  return 0;
}

/// A hundred links with fifty hop channels, as the daemon writes them: four days.
void WriteDays(benchmark::State& state) {
  constexpr int kLinks = 100, kDays = 4;
  double bytes = 0, days = 0;
  for (auto _ : state) {
    const test::TempDir dir;
    std::vector<test::BinMaker> makers;
    for (unsigned i = 0; i < 2 * kLinks; ++i) makers.emplace_back(i + 1, 50);
    auto store = std::move(Store::open(dir / "h", {})).value();
    const double before = written_bytes();
    for (int q = 0; q < 96 * kDays; ++q) {
      const Time start = test::at(test::kApril2031) + kBinSpan * q;
      Batch batch;
      batch.at = start + kBinSpan;
      for (unsigned i = 0; i < makers.size(); ++i)
        batch.bins.push_back({"link " + std::to_string(i / 2),
                              i % 2 == 0 ? Direction::inbound : Direction::outbound,
                              makers[i].make(start)});
      static_cast<void>(store->write(batch));
      for (int turn = 0; turn < 9 && *store->tidy(start + kBinSpan); ++turn) {
      }
    }
    static_cast<void>(store->close());
    bytes += written_bytes() - before;
    days += kDays;
  }
  state.counters["written_MB_per_link_year"] = bytes / 1e6 / kLinks / days * 365;
}
BENCHMARK(WriteDays)->Unit(benchmark::kMillisecond)->Iterations(1);

}  // namespace

BENCHMARK_MAIN();
