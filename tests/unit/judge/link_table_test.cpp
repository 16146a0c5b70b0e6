#include "fadeward/judge/link_table.hpp"

#include <gtest/gtest.h>

namespace fadeward::judge::link_table_test {
namespace {

Settings two_ports() {
  Settings settings;
  settings.ports.resize(2);
  settings.ports[0].name = "mast";
  settings.ports[1].name = "hut";
  settings.links.resize(3);
  settings.links[0].name = "weir";
  settings.links[0].match = {"mast", "7"};
  settings.links[1].name = "ridge";
  settings.links[1].match = {"hut", "7"};
  settings.links[2].name = "sluice";
  return settings;
}

TEST(LinkTable, OneNameOnTwoPortsIsTwoLinks) {
  const LinkTable table(two_ports(), false);
  EXPECT_EQ(table.find(0, "7"), 0U);
  EXPECT_EQ(table.find(1, "7"), 1U);
  EXPECT_EQ(table.find(0, "sluice"), 2U);
  EXPECT_EQ(table.find(1, "sluice"), 2U);
  EXPECT_EQ(table.find(0, "weir"), kNoLink);
  EXPECT_EQ(table.find(0, ""), kNoLink);   // two links may speak there
}

TEST(LinkTable, RecordingsKnowOwnNamesFirst) {
  const LinkTable table(two_ports(), true);
  EXPECT_EQ(table.find(kNoPort, "weir"), 0U);
  EXPECT_EQ(table.find(kNoPort, "ridge"), 1U);
  EXPECT_EQ(table.find(kNoPort, "7"), 0U);
  EXPECT_EQ(table.find(kNoPort, "nobody"), kNoLink);
}

TEST(LinkTable, AnOnlyLinkNeedsNoName) {
  Settings settings;
  settings.ports.resize(1);
  settings.ports[0].name = "mast";
  settings.links.resize(1);
  settings.links[0].name = "weir";
  EXPECT_EQ(LinkTable(settings, false).find(0, ""), 0U);
  EXPECT_EQ(LinkTable(settings, true).find(kNoPort, ""), 0U);
}

TEST(LinkTable, FindsEveryOneOfThousands) {
  Settings settings;
  settings.links.resize(5000);
  for (std::size_t i = 0; i < settings.links.size(); ++i) settings.links[i].name = "L" + std::to_string(i);
  const LinkTable table(settings, true);
  for (std::size_t i = 0; i < settings.links.size(); ++i)
    ASSERT_EQ(table.find(kNoPort, settings.links[i].name), i);
  EXPECT_EQ(table.find(kNoPort, "L5000"), kNoLink);
}

}  // namespace
}  // namespace fadeward::judge::link_table_test
