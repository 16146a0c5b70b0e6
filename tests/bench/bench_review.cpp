// The review of one link over five years, with and without its page; the store is in memory where
// it can be had, so that no disk is measured.
#include <benchmark/benchmark.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <memory>

#include "fadeward/publish/review_page.hpp"
#include "fadeward/review/review.hpp"
#include "support/temp_dir.hpp"
#include "support/valley_years.hpp"

namespace {

using namespace fadeward;

const std::string& years() {
  static const std::unique_ptr<test::TempDir> dir = [] {
    if (std::filesystem::is_directory("/dev/shm")) ::setenv("TMPDIR", "/dev/shm", 0);
    return std::make_unique<test::TempDir>();
  }();
  static const std::string path = [] {
    const std::string at = *dir / "years";
    const std::string failed = test::write_valley_years(at, {});
    if (!failed.empty()) std::fprintf(stderr, "%s\n", failed.c_str());
    return at;
  }();
  return path;
}

review::LinkReview five_years() {
  auto reader = history::Reader::open(years());
  review::Question question;
  question.link = "sluice";
  return review::review_link(*reader, question);
}

void review_five_years(benchmark::State& state) {
  years();
  for (auto _ : state) benchmark::DoNotOptimize(five_years());
}
BENCHMARK(review_five_years)->Unit(benchmark::kMillisecond);

void read_five_years(benchmark::State& state) {  // what the store alone costs
  years();
  for (auto _ : state) {
    auto reader = history::Reader::open(years());
    std::uint64_t frames = 0;
    const auto extent = reader->extent();
    for (const Direction d : {Direction::inbound, Direction::outbound})
      reader->bins("sluice", d, extent->first, extent->second,
                   [&](const history::Summary& bin) { frames += bin.frames; });
    benchmark::DoNotOptimize(frames);
  }
}
BENCHMARK(read_five_years)->Unit(benchmark::kMillisecond);

void page_of_five_years(benchmark::State& state) {
  const review::LinkReview review = five_years();
  std::size_t bytes = 0;
  for (auto _ : state) bytes = publish::review_page({&review, 1}).size();
  state.counters["bytes"] = static_cast<double>(bytes);
}
BENCHMARK(page_of_five_years)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
