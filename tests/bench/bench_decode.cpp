// From bytes to reports, one core: canonical JSON against simdjson on demand, a pattern decoder
// against RE2 alone, lines against memchr alone. Time is per line; compare within one run.
#include <benchmark/benchmark.h>
#include <re2/re2.h>
#include <simdjson.h>

#include <cmath>
#include <cstring>
#include <random>
#include <string>
#include <vector>

#include "fadeward/framing/lines.hpp"
#include "fadeward/report/canonical.hpp"
#include "fadeward/report/decoder.hpp"

namespace {

using namespace fadeward;

constexpr std::size_t kLines = 20000;  // about 3.3 MB: beyond the second-level cache, as in life

/// Reports of 100 links as a gateway would write them, JSON and key=value.
struct Input {
  std::string json, pairs;
  std::vector<std::string_view> json_lines, pair_lines;

  Input() {
    std::mt19937_64 random(1);
    std::normal_distribution<double> normal;
    for (std::size_t i = 0; i < kLines; ++i) {
      const double time = 1893456000.0 + 0.1 * static_cast<double>(i);
      const auto level = [&](double mean) {
        return static_cast<int>(std::lround(mean + 4 * normal(random)));
      };
      const auto ratio = [&](double mean) {
        return std::round((mean + 5 * normal(random)) * 4) / 4;
      };
      const double mean = -112.0 + static_cast<double>(i % 100) * 0.28;
      const int rssi = level(mean), far_rssi = level(mean - 1), noise = level(-117),
                far_noise = level(-116);
      const double snr = ratio(mean + 117), far_snr = ratio(mean + 115);
      const unsigned link = static_cast<unsigned>(i % 100) + 1,
                     seq = static_cast<unsigned>(i / 100 + 173 * link);
      const unsigned channel = 1 + link * 7 % 39;
      char text[512];
      std::snprintf(text, sizeof text,
                    "{\"time\":%.3f,\"link\":\"L%u\",\"seq\":%u,\"rssi_dbm\":%d,\"snr_db\":%g,"
                    "\"noise_dbm\":%d,"
                    "\"channel\":%u,\"far_rssi_dbm\":%d,\"far_snr_db\":%g,\"far_noise_dbm\":%d}\n",
                    time, link, seq, rssi, snr, noise, channel, far_rssi, far_snr, far_noise);
      json += text;
      std::snprintf(text, sizeof text,
                    "t=%.3f link=L%u seq=%u rssi=%d snr=%g noise=%d channel=%u far_rssi=%d "
                    "far_snr=%g far_noise=%d\n",
                    time, link, seq, rssi, snr, noise, channel, far_rssi, far_snr, far_noise);
      pairs += text;
    }
    json.reserve(json.size() + simdjson::SIMDJSON_PADDING);
    split(json, json_lines);
    split(pairs, pair_lines);
  }

  static void split(const std::string& text, std::vector<std::string_view>& lines) {
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = text.find('\n', at);
      lines.push_back(std::string_view(text).substr(at, end - at));
      at = end + 1;
    }
    lines.pop_back();  // so that what lies behind each line can be read
  }
};

const Input& input() {
  static const Input made;
  return made;
}

void per_line(benchmark::State& state, std::size_t lines) {
  state.SetItemsProcessed(static_cast<std::int64_t>(state.iterations() * lines));
  state.counters["per_line_s"] =
      benchmark::Counter(static_cast<double>(state.iterations() * lines),
                         benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}

// ---- lines ---------------------------------------------------------------------------------

void lines_memchr_alone(benchmark::State& state) {
  const std::string& text = input().json;
  for (auto _ : state) {
    std::size_t count = 0;
    const char* at = text.data();
    const char* const end = at + text.size();
    while (at < end) {
      const void* const stop = std::memchr(at, '\n', static_cast<std::size_t>(end - at));
      if (!stop) break;
      at = static_cast<const char*>(stop) + 1;
      ++count;
    }
    benchmark::DoNotOptimize(count);
  }
  per_line(state, kLines);
}
BENCHMARK(lines_memchr_alone);

struct CountingSink {
  std::size_t count = 0;
  void frame(std::string_view) { ++count; }
  void discarded(DiscardReason, std::uint64_t) {}
};

void lines_framer(benchmark::State& state) {
  const auto framer = std::move(framing::LineFramer::make(65536)).value();
  for (auto _ : state) {
    CountingSink sink;
    framer->feed_to(input().json, sink);
    benchmark::DoNotOptimize(sink.count);
  }
  per_line(state, kLines);
}
BENCHMARK(lines_framer);

// ---- canonical JSON ------------------------------------------------------------------------

void canonical_padded(benchmark::State& state) {
  report::CanonicalParser parser;
  LinkReport report;
  for (auto _ : state)
    for (const auto line : input().json_lines) {
      const bool ok = static_cast<bool>(parser.parse_padded(line, report));
      benchmark::DoNotOptimize(ok);
      benchmark::DoNotOptimize(report);
    }
  per_line(state, input().json_lines.size());
}
BENCHMARK(canonical_padded);

void canonical_copied(benchmark::State& state) {
  report::CanonicalParser parser;
  LinkReport report;
  for (auto _ : state)
    for (const auto line : input().json_lines) {
      const bool ok = static_cast<bool>(parser.parse(line, report));
      benchmark::DoNotOptimize(ok);
      benchmark::DoNotOptimize(report);
    }
  per_line(state, input().json_lines.size());
}
BENCHMARK(canonical_copied);

struct DiscardingSink final : report::ReportSink {
  std::uint64_t reports = 0;
  void report(LinkReport&) override { ++reports; }
  void rejected(RejectReason, std::string_view) override { std::abort(); }
  void values_discarded(std::uint64_t) override {}
  void unknown_keys(std::uint64_t) override {}
};

void run_decoder(benchmark::State& state, const DecoderSettings& settings,
                 const std::vector<std::string_view>& lines) {
  const auto decoder = std::move(report::make_decoder(settings)).value();
  DiscardingSink sink;
  for (auto _ : state)
    for (const auto line : lines) decoder->decode(line, Time{}, sink);
  benchmark::DoNotOptimize(sink.reports);
  per_line(state, lines.size());
}

void json_with_rules(benchmark::State& state) {
  DecoderSettings settings;
  settings.fields = {{"rssi_dbm", {"rssi_dbm", 1, 0, {}}}};
  run_decoder(state, settings, input().json_lines);
}
BENCHMARK(json_with_rules);

/// All ten values as doubles, keys in any order: what a program on top of simdjson would do.
void simdjson_on_demand(benchmark::State& state) {
  simdjson::ondemand::parser parser;
  double values[kFields] = {};
  double time = 0;
  std::string_view link;
  for (auto _ : state)
    for (const auto line : input().json_lines) {
      auto document =
          parser.iterate(line.data(), line.size(), line.size() + simdjson::SIMDJSON_PADDING);
      for (auto member : document.get_object()) {
        const std::string_view key = member.unescaped_key();
        if (key == "time") {
          time = member.value().get_double();
        } else if (key == "link") {
          link = member.value().get_string();
        } else if (const auto field = field_by_name(key)) {
          values[static_cast<unsigned>(*field)] = member.value().get_double();
        }
      }
      benchmark::DoNotOptimize(values);
      benchmark::DoNotOptimize(time);
      benchmark::DoNotOptimize(link);
    }
  per_line(state, input().json_lines.size());
}
BENCHMARK(simdjson_on_demand);

/// The same with the keys asked for in the order in which they stand: its fastest use.
void simdjson_in_order(benchmark::State& state) {
  simdjson::ondemand::parser parser;
  double values[10] = {};
  std::string_view link;
  for (auto _ : state)
    for (const auto line : input().json_lines) {
      auto document =
          parser.iterate(line.data(), line.size(), line.size() + simdjson::SIMDJSON_PADDING);
      auto object = document.get_object();
      values[0] = object.find_field("time").get_double();
      link = object.find_field("link").get_string();
      values[1] = object.find_field("seq").get_double();
      values[2] = object.find_field("rssi_dbm").get_double();
      values[3] = object.find_field("snr_db").get_double();
      values[4] = object.find_field("noise_dbm").get_double();
      values[5] = object.find_field("channel").get_double();
      values[6] = object.find_field("far_rssi_dbm").get_double();
      values[7] = object.find_field("far_snr_db").get_double();
      values[8] = object.find_field("far_noise_dbm").get_double();
      benchmark::DoNotOptimize(values);
      benchmark::DoNotOptimize(link);
    }
  per_line(state, input().json_lines.size());
}
BENCHMARK(simdjson_in_order);

// ---- patterns, ten groups ------------------------------------------------------------------

DecoderSettings pattern_settings() {
  DecoderSettings settings;
  settings.kind = DecoderKind::pattern;
  settings.patterns = {
      R"(^t=(?P<time>\d+\.\d+) link=(?P<link>\S+) seq=(?P<seq>\d+) rssi=(?P<rssi_dbm>-?\d+) snr=(?P<snr_db>-?\d+(?:\.\d+)?) )"
      R"(noise=(?P<noise_dbm>-?\d+) channel=(?P<channel>\d+) far_rssi=(?P<far_rssi_dbm>-?\d+) )"
      R"(far_snr=(?P<far_snr_db>-?\d+(?:\.\d+)?) far_noise=(?P<far_noise_dbm>-?\d+)$)"};
  return settings;
}

void run_re2(benchmark::State& state, const re2::RE2::Options& options) {
  const re2::RE2 expression(pattern_settings().patterns[0], options);
  re2::StringPiece pieces[11];
  for (auto _ : state)
    for (const auto line : input().pair_lines) {
      const bool found = expression.Match({line.data(), line.size()}, 0, line.size(),
                                          re2::RE2::UNANCHORED, pieces, 11);
      benchmark::DoNotOptimize(found);
      benchmark::DoNotOptimize(pieces);
    }
  per_line(state, input().pair_lines.size());
}

void re2_alone(benchmark::State& state) { run_re2(state, re2::RE2::Options()); }
BENCHMARK(re2_alone);

void re2_alone_bytes(benchmark::State& state) {
  run_re2(state, re2::RE2::Options(re2::RE2::Latin1));
}
BENCHMARK(re2_alone_bytes);

void pattern_decoder(benchmark::State& state) {
  run_decoder(state, pattern_settings(), input().pair_lines);
}
BENCHMARK(pattern_decoder);

void pairs_decoder(benchmark::State& state) {
  DecoderSettings settings;
  settings.kind = DecoderKind::pairs;
  settings.fields = {{"time", {"t", 1, 0, {}}},
                     {"rssi_dbm", {"rssi", 1, 0, {}}},
                     {"snr_db", {"snr", 1, 0, {}}},
                     {"noise_dbm", {"noise", 1, 0, {}}},
                     {"far_rssi_dbm", {"far_rssi", 1, 0, {}}},
                     {"far_snr_db", {"far_snr", 1, 0, {}}},
                     {"far_noise_dbm", {"far_noise", 1, 0, {}}}};
  run_decoder(state, settings, input().pair_lines);
}
BENCHMARK(pairs_decoder);

}  // namespace

BENCHMARK_MAIN();
