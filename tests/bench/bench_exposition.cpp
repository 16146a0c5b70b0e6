// /metrics for 1,000 links: the numbers alone, our own writer, and prometheus-cpp over the same
// families. The ratios are the result; run all in one go so that they share the machine's mood.
#include <benchmark/benchmark.h>
#include <prometheus/text_serializer.h>
#include <time.h>
#include <zlib.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <memory>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "fadeward/publish/collectable.hpp"
#include "fadeward/publish/exposition.hpp"
#include "fadeward/publish/gzip.hpp"
#include "fadeward/publish/site.hpp"
#include "fadeward/publish/snapshot_box.hpp"

namespace {

using namespace fadeward;
using namespace std::chrono_literals;

constexpr Time kNow{1893459600s};

/// Values as life gives them: medians of a histogram with a quarter of a decibel, statistics with
/// all digits, counters, ratios.
judge::DirectionSnapshot direction_of(std::mt19937_64& random) {
  const auto real = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  const auto quarter = [&](double low, double high) { return std::round(real(low, high) * 4) / 4; };
  judge::DirectionSnapshot out;
  out.reports = random() % 400;
  out.window = 1h;
  out.signal_dbm = quarter(-120, -60);
  out.noise_dbm = quarter(-125, -100);
  out.noise_source = NoiseSource::idle;
  out.margin_db = real(-5, 40);
  out.margin_stderr_db = real(0.1, 1);
  out.margin_low_db = quarter(-10, 30);
  out.loss_ratio = real(0, 0.3);
  out.trend_db_per_day = real(-0.1, 0.1);
  out.deficit_db = real(-3, 10);
  out.budget_margin_db = 24.5;
  out.retry_ratio = real(0, 0.5);
  out.tx_power_dbm = 27;
  for (auto& window : out.rolling) {
    window.margin_db = real(-5, 40);
    window.loss_ratio = real(0, 0.3);
  }
  out.frames_total = random() % 100'000'000;
  out.frames_lost_total = random() % 1'000'000;
  out.retries_total = random() % 1'000'000;
  return out;
}

judge::Snapshot snapshot_of(std::size_t links) {
  std::mt19937_64 random(1);
  judge::Snapshot out;
  out.time = kNow;
  for (std::size_t i = 0; i < links; ++i) {
    judge::LinkSnapshot link;
    link.name = "valley-site-" + std::to_string(i);
    link.up = true;
    link.reports_total = random() % 100'000'000;
    link.last_report = kNow - Duration(random() % 10'000'000);
    link.expect = 10s;
    link.latency_s = std::uniform_real_distribution<double>(0.05, 2)(random);
    link.supply_v = 12.4;
    link.temperature_c = 17.5;
    link.uptime_s = static_cast<double>(random() % 10'000'000);
    link.spreading_factor = 7;
    link.bandwidth_hz = 125000;
    for (auto& direction : link.directions) direction = direction_of(random);
    out.links.push_back(std::move(link));
  }
  return out;
}

/// Every sample's value in order, read back from the text: what the floor has to render.
std::vector<double> numbers_of(const std::string& text) {
  std::vector<double> out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    if (text[at] != '#') {
      const std::size_t space = text.rfind(' ', end) + 1;
      double value = 0;
      std::from_chars(text.data() + space, text.data() + end, value);
      out.push_back(value);
    }
    at = end + 1;
  }
  return out;
}

struct Scene {
  publish::SnapshotBox box;
  publish::BuildInfo build{"0.0.0", "", ""};
  publish::ProcessUsage process;
  publish::HttpTally http;
  publish::Published now;

  explicit Scene(std::size_t links) {
    box.store(std::make_shared<const judge::Snapshot>(snapshot_of(links)));
    now = box.load();
  }
  publish::ExpositionInput input() const {
    return {*now.snapshot, *now.program, process, http, build};
  }
  std::string text() const {
    publish::TextBuffer out;
    publish::Exposition().write(input(), publish::Format::prometheus_text, out);
    return std::string(out.view());
  }
};

void count(benchmark::State& state, const Scene& scene) {
  const std::string text = scene.text();
  const auto samples = static_cast<double>(numbers_of(text).size());
  state.counters["samples"] = samples;
  state.counters["MB"] = static_cast<double>(text.size()) * 1e-6;
  state.counters["per_sample"] = benchmark::Counter(
      samples, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
}

/// The floor: the same numbers and a newline each, nothing around them.
void render_numbers(const std::vector<double>& numbers, std::string& out) {
  char* at = out.data();
  for (const double value : numbers) {
    const auto whole = static_cast<std::int64_t>(value);
    at = static_cast<double>(whole) == value ? std::to_chars(at, at + 32, whole).ptr
                                             : std::to_chars(at, at + 32, value).ptr;
    *at++ = '\n';
  }
  benchmark::ClobberMemory();
}

void numbers_alone(benchmark::State& state) {
  const Scene scene(static_cast<std::size_t>(state.range(0)));
  const std::vector<double> numbers = numbers_of(scene.text());
  std::string out(numbers.size() * 32, ' ');
  for (auto _ : state) render_numbers(numbers, out);
  count(state, scene);
}

void own_writer(benchmark::State& state) {
  const Scene scene(static_cast<std::size_t>(state.range(0)));
  publish::Exposition exposition;
  publish::TextBuffer out;
  for (auto _ : state) {
    out.clear();
    exposition.write(scene.input(), publish::Format::prometheus_text, out);
    benchmark::DoNotOptimize(out.view().data());
  }
  count(state, scene);
}

void own_writer_openmetrics(benchmark::State& state) {
  const Scene scene(static_cast<std::size_t>(state.range(0)));
  publish::Exposition exposition;
  publish::TextBuffer out;
  for (auto _ : state) {
    out.clear();
    exposition.write(scene.input(), publish::Format::openmetrics, out);
    benchmark::DoNotOptimize(out.view().data());
  }
  count(state, scene);
}

void own_writer_and_gzip(benchmark::State& state) {
  const Scene scene(static_cast<std::size_t>(state.range(0)));
  publish::Exposition exposition;
  std::string out;
  for (auto _ : state) {
    out.clear();
    publish::GzipWriter gzip(out);
    exposition.write(scene.input(), publish::Format::prometheus_text,
                     [&](std::string_view piece) { gzip.add(piece); });
    gzip.finish();
    benchmark::DoNotOptimize(out.data());
  }
  count(state, scene);
  state.counters["gzip_MB"] = static_cast<double>(out.size()) * 1e-6;
}

void prometheus_cpp(benchmark::State& state) {
  const Scene scene(static_cast<std::size_t>(state.range(0)));
  const publish::SnapshotCollectable collectable(scene.box, scene.build);
  const prometheus::TextSerializer serializer;
  for (auto _ : state) {
    std::ostringstream out;
    serializer.Serialize(out, collectable.Collect());
    std::string text = std::move(out).str();
    benchmark::DoNotOptimize(text.data());
  }
  count(state, scene);
}

BENCHMARK(numbers_alone)->Arg(1000)->Unit(benchmark::kMillisecond);
BENCHMARK(own_writer)->Arg(1000)->Unit(benchmark::kMillisecond);
BENCHMARK(own_writer_openmetrics)->Arg(1000)->Unit(benchmark::kMillisecond);
BENCHMARK(own_writer_and_gzip)->Arg(1000)->Unit(benchmark::kMillisecond);
BENCHMARK(prometheus_cpp)->Arg(1000)->Unit(benchmark::kMillisecond);

double cpu_s() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + static_cast<double>(now.tv_nsec) * 1e-9;
}

template <class Work>
double timed_s(Work& work) {
  const double start_s = cpu_s();
  work();
  return cpu_s() - start_s;
}

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// Median CPU time of `a` over that of `b`, run in turn so that both meet the same disturbances.
template <class A, class B>
double ratio_of(int rounds, A a, B b) {
  std::vector<double> a_s;
  std::vector<double> b_s;
  for (int round = 0; round < rounds; ++round) {
    a_s.push_back(timed_s(a));
    b_s.push_back(timed_s(b));
  }
  return median(a_s) / median(b_s);
}

template <class Work>
double median_s(int rounds, Work work) {
  std::vector<double> spent_s;
  for (int round = 0; round < rounds; ++round) spent_s.push_back(timed_s(work));
  return median(spent_s);
}

void ratios(benchmark::State& state) {
  const Scene scene(static_cast<std::size_t>(state.range(0)));
  const std::vector<double> numbers = numbers_of(scene.text());
  std::string floor_out(numbers.size() * 32, ' ');
  publish::Exposition exposition;
  publish::TextBuffer own_out;
  const publish::SnapshotCollectable collectable(scene.box, scene.build);
  const prometheus::TextSerializer serializer;
  const auto floor = [&] { render_numbers(numbers, floor_out); };
  const auto own = [&] {
    own_out.clear();
    exposition.write(scene.input(), publish::Format::prometheus_text, own_out);
  };
  const auto own_in_pieces = [&] {
    exposition.write(scene.input(), publish::Format::prometheus_text,
                     [](std::string_view piece) { benchmark::DoNotOptimize(piece.data()); });
  };
  const auto library = [&] {
    std::ostringstream out;
    serializer.Serialize(out, collectable.Collect());
    std::string text = std::move(out).str();
    benchmark::DoNotOptimize(text.data());
  };
  const std::string text = scene.text();
  std::string zipped;
  const auto zlib = [&] {
    zipped.resize(compressBound(text.size()) + 64);
    z_stream z{};
    deflateInit2(&z, 1, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY);
    z.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(text.data()));
    z.avail_in = static_cast<uInt>(text.size());
    z.next_out = reinterpret_cast<Bytef*>(zipped.data());
    z.avail_out = static_cast<uInt>(zipped.size());
    deflate(&z, Z_FINISH);
    deflateEnd(&z);
    benchmark::DoNotOptimize(zipped.data());
  };
  std::string own_zipped;
  const auto own_gzip = [&] {
    own_zipped.clear();
    publish::GzipWriter gzip(own_zipped);
    exposition.write(scene.input(), publish::Format::prometheus_text,
                     [&](std::string_view piece) { gzip.add(piece); });
    gzip.finish();
  };
  publish::Site site(scene.box, scene.build, {}, false);
  Duration now{};
  publish::HttpRequest plain;
  plain.method = "GET";
  plain.target = "/metrics";
  publish::HttpRequest packed = plain;
  packed.accept_encoding = "gzip";
  publish::HttpAnswer held;
  const auto first = [&](const publish::HttpRequest& request) {
    return [&] {
      now += 2s;   // what was made before is too old
      held = {};
      held = site.answer(request, scene.http, now);
    };
  };
  const auto second = [&](const publish::HttpRequest& request) {
    return [&] { benchmark::DoNotOptimize(site.answer(request, scene.http, now).body.data()); };
  };
  for (auto _ : state) {
    state.counters["own_over_numbers"] = ratio_of(101, own, floor);
    state.counters["gzip_over_zlib"] = ratio_of(15, own_gzip, zlib);
    state.counters["second_over_first"] = ratio_of(31, second(plain), first(plain));
    state.counters["second_over_first_gzip"] = ratio_of(15, second(packed), first(packed));
    state.counters["own_in_pieces_over_numbers"] = ratio_of(101, own_in_pieces, floor);
    // Not in turn: the library sweeps the caches, and the writer would pay for it.
    state.counters["prometheus_cpp_over_own"] = median_s(7, library) / median_s(31, own);
  }
}
// 354 links have 40,000 samples.
BENCHMARK(ratios)->Arg(100)->Arg(354)->Arg(1000)->Iterations(1)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
