#include "fadeward/publish/live_samples.hpp"

#include <gtest/gtest.h>
#include <snappy.h>

#include <bit>
#include <cstring>
#include <map>
#include <random>
#include <string>

#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::live_samples_test {
namespace {

using namespace testing;

/// A reader of the messages by the encoding guide of Protocol Buffers that knows nothing of the writer.
class Wire {
 public:
  explicit Wire(std::string_view message) : left_(message) {}
  bool next() {
    if (left_.empty()) return false;
    const std::uint64_t key = varint();
    field = static_cast<int>(key >> 3);
    if ((key & 7) == 0) {
      number = varint();
    } else if ((key & 7) == 1) {
      std::memcpy(&number, left_.data(), 8);
      left_.remove_prefix(8);
    } else {
      const auto size = varint();
      bytes = left_.substr(0, size);
      left_.remove_prefix(size);
    }
    return true;
  }
  int field = 0;
  std::uint64_t number = 0;
  std::string_view bytes;

 private:
  std::uint64_t varint() {
    std::uint64_t out = 0;
    for (int shift = 0;; shift += 7) {
      const auto byte = static_cast<unsigned char>(left_.front());
      left_.remove_prefix(1);
      out |= std::uint64_t{byte & 0x7fU} << shift;
      if (byte < 0x80) return out;
    }
  }
  std::string_view left_;
};

/// "name{label="value",...}" -> bits of the only sample.
std::map<std::string, std::uint64_t> read(const WriteBatch& batch, const WritePiece& piece) {
  WriteRequestBuilder request;
  batch.encode(piece, request);
  std::map<std::string, std::uint64_t> out;
  Wire top(request.message());
  while (top.next()) {
    std::string name, labels;
    std::uint64_t bits = 0;
    Wire series(top.bytes);
    while (series.next()) {
      Wire inner(series.bytes);
      std::string first, second;
      std::uint64_t value = 0;
      while (inner.next()) {
        if (inner.field == 1) first = std::string(inner.bytes), value = inner.number;
        if (inner.field == 2) second = std::string(inner.bytes);
      }
      if (series.field == 2)
        bits = value;
      else if (first == "__name__")
        name = second;
      else
        labels += (labels.empty() ? "" : ",") + first + "=\"" + second + "\"";
    }
    EXPECT_TRUE(out.emplace(name + "{" + labels + "}", bits).second) << name << labels;
  }
  return out;
}

class Live : public ::testing::Test {
 protected:
  std::map<std::string, std::uint64_t> take(const std::map<std::string, std::string>& labels = {{"gateway", "g"}}) {
    box.store(std::make_shared<const judge::Snapshot>(snapshot));
    live.take(box.load(), labels, 1893459600000, batch);
    return read(batch, batch.whole());
  }
  judge::Snapshot snapshot = two_links();
  SnapshotBox box;
  LiveSamples live;
  WriteBatch batch;
};

TEST_F(Live, HasTheSamplesOfTheScrape) {
  snapshot.alerts = {alert_of(AlertName::MarginLow, 0, Severity::critical)};
  snapshot.alerts[0].cause = Cause::path;
  snapshot.links[0].directions[0].channels = {{2, 9, -97.25, -116}, {903.9e6, 1, -98.5, {}}};
  const auto got = take();
  TextBuffer text;
  const ProcessUsage process;
  const HttpTally http;
  const BuildInfo build{FADEWARD_VERSION, "", ""};
  const ProgramState program;
  Exposition().write({snapshot, program, process, http, build}, Format::prometheus_text, text);
  const Scrape scrape(text.view());
  std::size_t compared = 0;
  for (const auto& [series, sample] : scrape.samples) {
    if (series.starts_with("fadeward_http_") || series.starts_with("fadeward_build_info")) continue;
    // Labels in order of their names, the external one among them.
    const auto brace = series.find('{');
    std::map<std::string, std::string> labels{{"gateway", "\"g\""}};
    std::string rest = brace == std::string::npos ? "" : series.substr(brace + 1, series.size() - brace - 2);
    for (std::size_t at = 0; at < rest.size();) {
      const auto equals = rest.find('=', at), end = rest.find('"', equals + 2);
      labels[rest.substr(at, equals - at)] = rest.substr(equals + 1, end - equals);
      at = end + 2;
    }
    std::string key = series.substr(0, brace) + "{";
    for (const auto& [name, value] : labels) key += (key.back() == '{' ? "" : ",") + name + "=" + value;
    const auto found = got.find(key + "}");
    ASSERT_NE(found, got.end()) << key;
    EXPECT_NEAR(std::bit_cast<double>(found->second), sample.value, std::abs(sample.value) / 4000) << series;
    ++compared;
  }
  EXPECT_GT(compared, 150U);
  EXPECT_EQ(got.size(), compared + 2) << "up and build_info";
  EXPECT_EQ(got.at("up{gateway=\"g\"}"), std::bit_cast<std::uint64_t>(1.0));
}

TEST_F(Live, SeriesThatVanishEndOnceWithAMarker) {
  take();
  live.accepted(batch, batch.whole());
  snapshot.links[0].up = false;   // its gauges vanish
  const auto got = take();
  const std::string margin = "fadeward_link_margin_db{direction=\"inbound\",gateway=\"g\",link=\"weir\"}";
  ASSERT_TRUE(got.contains(margin));
  EXPECT_EQ(got.at(margin), 0x7ff0000000000002U);
  EXPECT_EQ(got.at("fadeward_link_up{gateway=\"g\",link=\"weir\"}"), 0U) << "this one stays";
  EXPECT_TRUE(take().contains(margin)) << "as long as it was not accepted";
  live.accepted(batch, batch.whole());
  EXPECT_FALSE(take().contains(margin));
}

TEST_F(Live, ARemovedLinkAndOtherLabelsEndTheirSeries) {
  take();
  live.accepted(batch, batch.whole());
  snapshot.links.pop_back();
  auto got = take();
  EXPECT_EQ(got.at("fadeward_link_up{gateway=\"g\",link=\"ridge\"}"), 0x7ff0000000000002U);
  live.accepted(batch, batch.whole());
  got = take({{"gateway", "other"}});
  EXPECT_EQ(got.at("fadeward_link_up{gateway=\"g\",link=\"weir\"}"), 0x7ff0000000000002U);
  EXPECT_EQ(got.at("fadeward_link_up{gateway=\"other\",link=\"weir\"}"), std::bit_cast<std::uint64_t>(1.0));
}

TEST_F(Live, TheEndMarksEverythingThatWasAccepted) {
  const auto all = take();
  WritePiece half = batch.whole();
  half.last /= 2;
  live.accepted(batch, half);
  live.take_ends(1893459601000, batch);
  const auto ends = read(batch, batch.whole());
  EXPECT_EQ(ends.size(), all.size() / 2);
  for (const auto& [series, bits] : ends) {
    EXPECT_TRUE(all.contains(series));
    EXPECT_EQ(bits, 0x7ff0000000000002U) << series;
  }
}

TEST_F(Live, APoisonSeriesIsLeftOutForAnHour) {
  const auto all = take();
  live.accepted(batch, batch.whole());
  live.refused(batch, {5, 6, 0, 1}, true, 0s);
  EXPECT_EQ(take().size(), all.size() - 1) << "nor is it ended: that would be refused as well";
  EXPECT_EQ(live.left_out(), 1U);
  live.refused(batch, {7, 8, 0, 1}, false, 10s);
  EXPECT_EQ(take().size(), all.size() - 1) << "for its time alone nothing is left out";
  live.refused(batch, {8, 9, 0, 1}, true, 3601s);
  EXPECT_EQ(take().size(), all.size() - 1) << "the first is tried again, another is out";
}

TEST(PushedLabels, NameTheGatewaySomehow) {
  using Map = std::map<std::string, std::string>;
  EXPECT_EQ(pushed_labels({{"gateway", "g"}}, "host"), (Map{{"gateway", "g"}, {"job", "fadeward"}}));
  EXPECT_EQ(pushed_labels({}, "host"), (Map{{"instance", "host"}, {"job", "fadeward"}}));
  EXPECT_EQ(pushed_labels({{"job", "radio"}}, "host"), (Map{{"job", "radio"}}));
}

// The goal of this project: 14 bytes a sample. All values of all links differ here, as they do in
// the field; names and labels of the usual length.
TEST(LiveBytes, ASampleTakesAtMostFourteenBytes) {
  for (const int count : {4, 50, 100, 300}) {
    std::mt19937 random(7);
    const auto any = [&random](double low, double high) { return std::uniform_real_distribution<double>(low, high)(random); };
    const auto number = [&](double high) { return static_cast<std::uint64_t>(any(0, high)); };
    judge::Snapshot snapshot;
    snapshot.time = kNow;
    for (int i = 0; i < count; ++i) {
      auto link = known_link("site-" + std::to_string(i * 37));
      link.last_report = kNow - Duration(static_cast<long>(any(0, 1e7)));
      link.reports_total = number(1e6);
      link.latency_s = any(0.1, 2);
      link.supply_v = std::round(any(110, 138)) / 10;
      link.temperature_c = std::round(any(-10, 40));
      link.uptime_s = std::round(any(0, 1e7));
      for (auto& each : link.directions) {
        each = known_direction(any(3, 40));
        each.signal_dbm = any(-120, -70);
        each.noise_dbm = any(-120, -110);
        each.margin_low_db = any(-5, 30);
        each.margin_stderr_db = any(0.05, 1);
        each.loss_ratio = any(0, 0.05);
        each.trend_db_per_day = any(-0.1, 0.1);
        each.deficit_db = any(-3, 3);
        each.retry_ratio = any(0, 0.2);
        each.reports = number(1000);
        each.frames_total = number(1e6);
        each.frames_lost_total = number(1e4);
        each.retries_total = number(1e4);
        for (auto& window : each.rolling) window = {window.window, any(3, 40), any(0, 0.05)};
      }
      snapshot.links.push_back(link);
    }
    SnapshotBox box;
    box.store(std::make_shared<const judge::Snapshot>(snapshot));
    LiveSamples live;
    WriteBatch batch;
    live.take(box.load(), pushed_labels({{"gateway", "mill-house"}}, "host"), to_milliseconds(kNow), batch);
    std::size_t bytes = 0;
    for (std::uint32_t first = 0; first < batch.series(); first += 5000) {
      WriteRequestBuilder request;
      batch.encode({first, std::min(first + 5000, batch.series()), 0, 1}, request);
      bytes += request.compressed().size();
    }
    const double each = static_cast<double>(bytes) / static_cast<double>(batch.size());
    std::printf("%d links: %zu samples, %.2f bytes each\n", count, batch.size(), each);
    EXPECT_LE(each, 14);
  }
}

}  // namespace
}  // namespace fadeward::publish::live_samples_test
