#include "fadeward/report/field_map.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "unit/report/collect.hpp"

namespace fadeward::report::field_map_test {
namespace {

using Rules = std::map<std::string, FieldRule>;

TEST(FieldMap, CanonicalNamesNeedNoRule) {
  const FieldMap map = FieldMap::make({}).value();
  for (std::size_t i = 0; i < kFields; ++i) {
    const auto targets = map.find(field_info(static_cast<Field>(i)).name);
    ASSERT_EQ(targets.size(), 1u);
    EXPECT_EQ(targets[0].field, static_cast<Field>(i));
    EXPECT_TRUE(targets[0].is_plain());
  }
  EXPECT_EQ(map.find("time")[0].kind, Target::Kind::time);
  EXPECT_EQ(map.find("link")[0].kind, Target::Kind::link);
  EXPECT_TRUE(map.find("rssi").empty());
}

TEST(FieldMap, ARuleMovesItsKey) {
  const FieldMap map = FieldMap::make({{"rssi_dbm", {"s", 0.5, -160, {}}}}).value();
  ASSERT_EQ(map.find("s").size(), 1u);
  EXPECT_EQ(map.find("s")[0].scale, 0.5);
  EXPECT_EQ(map.find("s")[0].offset, -160);
  EXPECT_TRUE(map.find("rssi_dbm").empty());
}

TEST(FieldMap, OneNameMayFeedSeveralKeys) {
  const FieldMap map = FieldMap::make({{"channel", {"status", 1, 0, std::pair(0, 6)}},
                                       {"supply_v", {"status", 0.1, 0, std::pair(6, 8)}}})
                           .value();
  EXPECT_EQ(map.find("status").size(), 2u);
}

TEST(FieldMap, RefusesNonsense) {
  const std::pair<Rules, const char*> cases[] = {
      {{{"rssi", {}}}, "'rssi'"},
      {{{"rssi_dbm", {"x", 0, 0, {}}}}, "scale"},
      {{{"rssi_dbm", {"x", NAN, 0, {}}}}, "scale"},
      {{{"rssi_dbm", {"x", 1, INFINITY, {}}}}, "offset"},
      {{{"rssi_dbm", {"x", 1, 0, std::pair(-1, 2)}}}, "bits"},
      {{{"rssi_dbm", {"x", 1, 0, std::pair(0, 0)}}}, "bits"},
      {{{"rssi_dbm", {"x", 1, 0, std::pair(60, 5)}}}, "bits"},
  };
  for (const auto& [rules, word] : cases) {
    const auto made = FieldMap::make(rules);
    ASSERT_FALSE(made) << word;
    EXPECT_NE(made.error().message.find(word), std::string::npos) << made.error().message;
  }
}

}  // namespace
}  // namespace fadeward::report::field_map_test
