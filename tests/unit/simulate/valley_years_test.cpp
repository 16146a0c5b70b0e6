#include "fadeward/simulate/valley_years.hpp"

#include <gtest/gtest.h>

#include "fadeward/simulate/truth.hpp"

namespace fadeward::simulate::valley_years_test {
namespace {

Plan plan_of(std::uint64_t seed, double days) {
  Options options;
  options.scenario = "tarn-valley-years";
  options.seed = seed;
  options.days = days;
  const Result<Plan> plan = make_plan(options);
  EXPECT_TRUE(plan);
  return *plan;
}

const LinkPlan& link_of(const Plan& plan, std::string_view name) {
  for (const LinkPlan& link : plan.links)
    if (link.name == name) return link;
  ADD_FAILURE() << name;
  return plan.links.front();
}

TEST(ValleyYears, AShorterWorldSeesTheBeginningOfTheLongerOne) {
  const Plan years = plan_of(1, 1826), one = plan_of(1, 366);
  for (const char* name : {"ridge", "sluice"}) {
    const auto &all = link_of(years, name).foliage, &few = link_of(one, name).foliage;
    ASSERT_EQ(all.size(), 6u) << "2031 to 2036";
    ASSERT_EQ(few.size(), 2u);
    for (std::size_t i = 0; i < few.size(); ++i) {
      EXPECT_EQ(few[i].out, all[i].out);
      EXPECT_EQ(few[i].loss_db, all[i].loss_db);
    }
  }
  EXPECT_EQ(link_of(one, "weir").faults[0].from, link_of(years, "weir").faults[0].from);
  EXPECT_EQ(link_of(one, "quarry").faults[1].size, link_of(years, "quarry").faults[1].size);
}

// 18 March 2034, 08:00 to 15:00: the example configuration has it as upkeep.
TEST(ValleyYears, TheMastVisitIsTheSameForEverySeedAndEndsTheWater) {
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    const Plan plan = plan_of(seed, 1826);
    const LinkPlan& sluice = link_of(plan, "sluice");
    ASSERT_EQ(sluice.visits.size(), 1u);
    EXPECT_EQ(format_rfc3339(sluice.visits[0].from), "2034-03-18T08:00:00Z");
    EXPECT_EQ(format_rfc3339(sluice.visits[0].until), "2034-03-18T15:00:00Z");
    ASSERT_EQ(sluice.faults.size(), 2u);
    for (const Fault& fault : sluice.faults) {
      EXPECT_EQ(fault.cause, Cause::far_antenna);
      ASSERT_TRUE(fault.until);
      EXPECT_GT(*fault.until, sluice.visits[0].from);
      EXPECT_LT(*fault.until, sluice.visits[0].until);
    }
    const LinkPlan& quarry = link_of(plan, "quarry");
    EXPECT_EQ(quarry.faults[0].channels.size(), 6u);
    EXPECT_EQ(quarry.faults[1].channels.size(), 3u);
    EXPECT_LT(quarry.faults[1].channels.back(), quarry.channels);
    EXPECT_GT(quarry.faults[1].from, quarry.faults[0].from);
  }
}

TEST(ValleyYears, TheTruthHasLeavesWorkAndWet) {
  std::string all;
  for (const auto& [time, line] : story_lines(plan_of(3, 1826))) all += line + "\n";
  EXPECT_NE(all.find(R"({"kind":"leaves","time":)"), std::string::npos);
  EXPECT_NE(all.find(R"({"kind":"upkeep","time":2026281600,"until":2026306800,"link":"sluice",)"
                     R"("note":"mast visit"})"),
            std::string::npos);
  EXPECT_NE(all.find(R"("per_rain_db":0.8)"), std::string::npos);
}

}  // namespace
}  // namespace fadeward::simulate::valley_years_test
