// The export against the bins that it tells of, by the rules of OpenMetrics 1.0.
#include "fadeward/publish/history_export.hpp"

#include <gtest/gtest.h>

#include <map>
#include <set>
#include <sstream>

#include "fadeward/history/store.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/sample_bins.hpp"

namespace fadeward::publish::history_export_test {
namespace {

using test::at;
using test::BinMaker;
using test::kApril2031;

constexpr const char* kEvil = "a\"b\\c\nd";
constexpr const char* kEscaped = "a\\\"b\\\\c\\nd";  // OpenMetrics 1.0, ABNF "escaped-char"

struct Exported {
  std::map<std::string, std::string> types, units;
  std::map<std::string, std::vector<std::pair<double, double>>> series;  // time, value
  std::vector<std::string> lines;
};

class HistoryExported : public ::testing::Test {
 protected:
  void SetUp() override {
    const auto store = std::move(history::Store::open(dir_ / "h", {})).value();
    BinMaker maker(5);
    history::Batch batch;
    for (int quarter = 0; quarter < 10; ++quarter) {
      if (quarter == 4) continue;
      bins_.push_back(maker.make(at(kApril2031) + kBinSpan * quarter, 40 + quarter));
      batch.bins.push_back({kEvil, Direction::inbound, bins_.back()});
    }
    ASSERT_TRUE(store->write(batch));
  }

  std::string text(Time from = Time::min(), Time to = Time::max()) const {
    auto reader = std::move(history::Reader::open(dir_ / "h")).value();
    std::string out;
    export_history(reader, {{kEvil}, from, to}, [&](std::string_view part) {
      out += part;
      return true;
    });
    return out;
  }
  static Exported parsed(const std::string& text) {
    Exported out;
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line); out.lines.push_back(line)) {
      std::istringstream words(line);
      std::string hash, what, name, value;
      if (line.starts_with("# ")) {
        words >> hash >> what >> name >> value;
        if (what == "TYPE") out.types[name] = value;
        if (what == "UNIT") out.units[name] = value;
        continue;
      }
      const auto end = line.rfind("} ");
      std::istringstream numbers(line.substr(end + 2));
      double number = 0, time = 0;
      EXPECT_TRUE(numbers >> number >> time) << line;
      out.series[line.substr(0, end + 1)].emplace_back(time, number);
    }
    return out;
  }
  static std::string series(const std::string& family) {
    return family + "{link=\"" + kEscaped + "\",direction=\"inbound\"}";
  }

  test::TempDir dir_;
  std::vector<Bin> bins_;
};

TEST_F(HistoryExported, CountersRunOnAndAreStampedWithTheEndOfTheirQuarter) {
  const Exported found = parsed(text());
  double frames = 0;
  std::vector<std::pair<double, double>> wanted;
  for (const Bin& bin : bins_)
    wanted.emplace_back(to_unix_seconds(bin.start) + 900, frames += bin.frames);
  EXPECT_EQ(found.series.at(series("fadeward_link_frames_total")), wanted);
  const auto& noise = found.series.at(series("fadeward_link_noise_dbm"));
  ASSERT_EQ(noise.size(), bins_.size());
  for (std::size_t i = 0; i < noise.size(); ++i)
    EXPECT_NEAR(noise[i].second, *bins_[i].noise.quantile_db(0.5), 1e-6);
  EXPECT_FALSE(found.series.contains("fadeward_link_frames_total{link=\"" + std::string(kEscaped) +
                                     "\",direction=\"outbound\"}"));
}

// A counter's samples end in _total, its family does not; a unit is the end of the family's name;
// the text ends with "# EOF" and has it once; a family's lines stand together.
TEST_F(HistoryExported, KeepsToTheFormat) {
  const Exported found = parsed(text());
  ASSERT_FALSE(found.lines.empty());
  EXPECT_EQ(found.lines.back(), "# EOF");
  EXPECT_EQ(std::ranges::count(found.lines, "# EOF"), 1);
  EXPECT_TRUE(text().ends_with("# EOF\n"));
  EXPECT_EQ(found.types.at("fadeward_link_frames"), "counter");
  EXPECT_EQ(found.types.at("fadeward_link_margin_db"), "gauge");
  EXPECT_EQ(found.units.at("fadeward_link_noise_dbm"), "dbm");
  for (const auto& [family, unit] : found.units) EXPECT_TRUE(family.ends_with("_" + unit));
  std::set<std::string> over;
  std::string family;
  for (const std::string& line : found.lines) {
    if (line == "# EOF") continue;
    if (line.starts_with("# TYPE ")) {
      over.insert(family);
      family = line.substr(7, line.rfind(' ') - 7);
      EXPECT_FALSE(over.contains(family)) << family;
      continue;
    }
    if (line.starts_with("#")) continue;
    const std::string name = line.substr(0, line.find('{'));
    EXPECT_EQ(name, found.types.at(family) == "counter" ? family + "_total" : family) << line;
  }
}

TEST_F(HistoryExported, APartOfItBeginsItsCountersAnew) {
  const Exported found = parsed(text(bins_[2].start, bins_[6].start));
  const auto& frames = found.series.at(series("fadeward_link_frames_total"));
  ASSERT_EQ(frames.size(), 4U);
  EXPECT_EQ(frames[0].second, bins_[2].frames);
  EXPECT_EQ(frames[3].first, to_unix_seconds(bins_[5].start) + 900);
}

TEST_F(HistoryExported, EndsEarlyWhenNobodyReads) {
  auto reader = std::move(history::Reader::open(dir_ / "h")).value();
  int calls = 0;
  export_history(reader, {{kEvil}}, [&](std::string_view) {
    ++calls;
    return false;
  });
  EXPECT_EQ(calls, 1);
}

// Raised at 00:20, critical from 00:50, over at 01:10; another for two minutes; one of a port that
// goes on. The bins end at 02:30.
TEST_F(HistoryExported, AlertsAreThereWhileTheyAreActive) {
  const auto event = [](int minute, history::EventChange change, AlertName alert,
                        Severity severity) {
    history::EventRecord out;
    out.time = at(kApril2031) + std::chrono::minutes{minute};
    out.link = kEvil;
    out.direction = Direction::inbound;
    out.change = change;
    out.alert = alert;
    out.severity = severity;
    return out;
  };
  using enum history::EventChange;
  history::Batch batch;
  batch.events = {event(20, raised, AlertName::MarginLow, Severity::warning),
                  event(50, changed, AlertName::MarginLow, Severity::critical),
                  event(70, cleared, AlertName::MarginLow, Severity::critical),
                  event(91, raised, AlertName::LossHigh, Severity::warning),
                  event(93, cleared, AlertName::LossHigh, Severity::warning)};
  history::EventRecord port = event(125, raised, AlertName::PortFault, Severity::critical);
  port.link.clear();
  port.port = "mast";
  port.direction.reset();
  batch.events.push_back(port);
  ASSERT_TRUE(std::move(history::Store::open(dir_ / "h", {})).value()->write(batch));
  const std::string all = text();
  const auto exported = parsed(all);
  const auto minutes = [&](const std::string& name) {
    std::vector<std::pair<double, double>> out;
    for (const auto& [time, value] : exported.series.at(name))
      out.emplace_back((time - static_cast<double>(kApril2031)) / 60, value);
    return out;
  };
  const auto labels = [](const std::string& alert) {
    return std::string("{link=\"") + kEscaped + "\",direction=\"inbound\",alert=\"" + alert + "\"}";
  };
  using Points = std::vector<std::pair<double, double>>;
  EXPECT_EQ(minutes("fadeward_alert_severity" + labels("MarginLow")),
            (Points{{30, 2}, {45, 2}, {60, 3}, {75, 0}}));
  EXPECT_EQ(minutes("fadeward_alert_active" + labels("LossHigh")), (Points{{105, 1}, {120, 0}}));
  EXPECT_EQ(minutes("fadeward_alert_active{port=\"mast\",alert=\"PortFault\"}"),
            (Points{{135, 1}, {150, 1}}));
  EXPECT_EQ(exported.types.at("fadeward_alert_active"), "gauge");
  // From 00:50 on: what was raised before is known.
  const auto later = parsed(text(at(kApril2031) + std::chrono::minutes{50}));
  EXPECT_EQ(later.series.at("fadeward_alert_severity" + labels("MarginLow")).front().second, 3);
}

TEST_F(HistoryExported, LabelsOfAScrapeGoOntoEverySeries) {
  auto reader = std::move(history::Reader::open(dir_ / "h")).value();
  HistoryExport what;
  what.links = {kEvil};
  what.labels = {{"gateway", "mill \"house\""}, {"region", "tarn"}};
  std::string out;
  export_history(reader, what, [&](std::string_view part) {
    out += part;
    return true;
  });
  std::istringstream lines(out);
  for (std::string line; std::getline(lines, line);)
    if (!line.starts_with("#")) {
      EXPECT_NE(line.find("{gateway=\"mill \\\"house\\\"\",region=\"tarn\",link="),
                std::string::npos)
          << line;
    }
}

// Prometheus data model, "Metric names and labels".
TEST(LabelNames, AreThoseOfTheDataModel) {
  for (const char* good : {"gateway", "_a", "A9", "a_b"}) EXPECT_TRUE(may_label(good)) << good;
  for (const char* bad : {"", "9a", "a-b", "a b", "__a", "é", "link", "direction", "port", "alert"})
    EXPECT_FALSE(may_label(bad)) << bad;
}

}  // namespace
}  // namespace fadeward::publish::history_export_test
