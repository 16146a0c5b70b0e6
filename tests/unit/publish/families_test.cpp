#include "fadeward/publish/families.hpp"

#include <gtest/gtest.h>

#include <fstream>
#include <set>
#include <sstream>
#include <string>

namespace fadeward::publish::families_test {
namespace {

std::string kind_name(MetricKind kind) {
  return kind == MetricKind::counter ? "counter" : kind == MetricKind::gauge ? "gauge" : "info";
}

// Names are relied upon by dashboards and rules: a rename shows in the review of that file.
TEST(Families, AreThoseOfTheListUnderTestData) {
  std::ifstream file(FADEWARD_TEST_DATA "/expected_metrics.txt");
  ASSERT_TRUE(file.is_open());
  std::set<std::string> expected;
  for (std::string line; std::getline(file, line);) {
    if (!line.empty() && line.front() != '#') expected.insert(line);
  }
  std::set<std::string> got;
  for (const Family& family : families()) {
    got.insert(std::string(family.name) + " " + kind_name(family.kind));
  }
  EXPECT_EQ(got, expected);
}

// Prometheus naming practices and OpenMetrics 1.0.
TEST(Families, FollowTheRulesOfTheirFormats) {
  std::set<std::string_view> metadata_names;
  for (const Family& family : families()) {
    EXPECT_EQ(family.name.ends_with("_total"), family.kind == MetricKind::counter) << family.name;
    EXPECT_EQ(family.name.ends_with("_info"), family.kind == MetricKind::info) << family.name;
    EXPECT_TRUE(family.name.starts_with("fadeward_") || family.name.starts_with("process_"));
    EXPECT_TRUE(family.help.ends_with('.')) << family.name;
    EXPECT_EQ(family.help.find_first_of("\n\\\""), std::string_view::npos) << family.name;
    EXPECT_LE(family.name.size() + 7, 64U) << "must fit the block that is copied per sample";
    const auto metric = openmetrics_name(family);
    EXPECT_TRUE(metadata_names.insert(metric).second) << metric;
    if (!family.unit.empty()) {
      EXPECT_TRUE(metric.ends_with("_" + std::string(family.unit))) << family.name;
    }
  }
}

}  // namespace
}  // namespace fadeward::publish::families_test
