#include "fadeward/simulate/scenario.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <set>
#include <string>

namespace fadeward::simulate::scenario_test {
namespace {

using ::testing::HasSubstr;

std::string error_of(const Options& options) {
  const Result<Plan> plan = make_plan(options);
  return plan ? "no error" : plan.error().message;
}

TEST(Scenario, EveryWorldIsListedOnceAndCanBeMade) {
  std::set<std::string_view> names;
  for (const ScenarioInfo& info : scenarios()) {
    EXPECT_TRUE(names.insert(info.name).second) << info.name;
    EXPECT_FALSE(info.description.empty());
    Options options;
    options.scenario = info.name;
    options.days = 30;
    const Result<Plan> plan = make_plan(options);
    ASSERT_TRUE(plan) << info.name;
    std::string links;
    for (const LinkPlan& link : plan->links) links += (links.empty() ? "" : " ") + link.name;
    EXPECT_EQ(links, info.links);
  }
  for (const char* wanted :
       {"healthy", "path-step", "far-transmit", "near-transmit", "near-noise", "far-noise",
        "near-receive", "far-receive", "near-antenna", "far-antenna", "narrow-band", "collisions",
        "restarts", "silence", "tarn-valley"}) {
    EXPECT_TRUE(names.count(wanted)) << wanted;
  }
}

TEST(Scenario, OutagesAndSettingsAreInOrder) {
  for (const ScenarioInfo& info : scenarios()) {
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
      Options options;
      options.scenario = info.name;
      options.seed = seed;
      options.days = 60;
      options.links = 3;
      const Result<Plan> plan = make_plan(options);
      ASSERT_TRUE(plan);
      for (const LinkPlan& link : plan->links) {
        for (std::size_t i = 1; i < link.outages.size(); ++i) {
          EXPECT_GE(link.outages[i].from, link.outages[i - 1].until) << info.name << " " << seed;
        }
      }
    }
  }
}

TEST(Scenario, NearSideFaultsHitAllLinksAndFarSideFaultsOne) {
  for (const auto& [name, hit] : {std::pair{"near-noise", 3U},
                                  {"near-receive", 3U},
                                  {"near-transmit", 3U},
                                  {"near-antenna", 3U},
                                  {"narrow-band", 3U},
                                  {"far-noise", 1U},
                                  {"far-transmit", 1U},
                                  {"path-step", 1U}}) {
    Options options;
    options.scenario = name;
    options.links = 3;
    const Result<Plan> plan = make_plan(options);
    ASSERT_TRUE(plan);
    std::size_t faulty = 0;
    for (const LinkPlan& link : plan->links) faulty += link.faults.empty() ? 0 : 1;
    EXPECT_EQ(faulty, hit) << name;
  }
}

TEST(Scenario, OptionsDecideSizeOnsetAndLength) {
  Options options;
  options.scenario = "far-transmit";
  options.days = 10;
  options.size = 2.5;
  options.onset_days = 4;
  options.fault_hours = 12;
  options.signal_dbm = -111;
  const Result<Plan> plan = make_plan(options);
  ASSERT_TRUE(plan);
  const LinkPlan& link = plan->links.at(0);
  EXPECT_EQ(link.inbound_signal_dbm, -111);
  EXPECT_EQ(link.outbound_signal_dbm, -111);
  ASSERT_EQ(link.faults.size(), 1U);
  EXPECT_EQ(link.faults[0].size, 2.5);
  EXPECT_EQ(link.faults[0].from, kDefaultStart + std::chrono::hours(96));
  EXPECT_EQ(link.faults[0].until, kDefaultStart + std::chrono::hours(108));
}

TEST(Scenario, DefaultStartIsTheFirstOfApril2031) {
  EXPECT_EQ(format_rfc3339(kDefaultStart), "2031-04-01T00:00:00Z");
}

TEST(Scenario, BadOptionsAreRefusedWithWhatIsAllowed) {
  Options options;
  options.scenario = "no-such\nworld";
  EXPECT_THAT(error_of(options), HasSubstr("is not one of: healthy path-step"));
  EXPECT_EQ(error_of(options).find('\n'), std::string::npos);

  const auto with = [](auto change) {
    Options o;
    change(o);
    return error_of(o);
  };
  EXPECT_THAT(with([](Options& o) { o.days = 0; }), HasSubstr("days: 0 is not within"));
  EXPECT_THAT(with([](Options& o) { o.days = -1; }), HasSubstr("days"));
  EXPECT_THAT(with([](Options& o) { o.days = std::nan(""); }), HasSubstr("days"));
  EXPECT_THAT(with([](Options& o) { o.days = 1e9; }), HasSubstr("days"));
  EXPECT_THAT(with([](Options& o) { o.interval_s = 0; }), HasSubstr("interval_s"));
  EXPECT_THAT(with([](Options& o) { o.interval_s = INFINITY; }), HasSubstr("interval_s"));
  EXPECT_THAT(with([](Options& o) { o.signal_dbm = 20; }), HasSubstr("signal_dbm"));
  EXPECT_THAT(with([](Options& o) { o.links = 0; }), HasSubstr("links"));
  EXPECT_THAT(with([](Options& o) { o.links = 5000; }), HasSubstr("links"));
  EXPECT_THAT(with([](Options& o) { o.seq_bits = 4; }), HasSubstr("seq_bits"));
  EXPECT_THAT(with([](Options& o) { o.onset_days = -3; }), HasSubstr("onset_days"));
  EXPECT_THAT(with([](Options& o) { o.omit = {"snr"}; }), HasSubstr("'snr' is no key"));
  EXPECT_THAT(with([](Options& o) {
                o.scenario = "collisions";
                o.size = 6;
              }),
              HasSubstr("size: 6 is not within 0 to 1"));
}

}  // namespace
}  // namespace fadeward::simulate::scenario_test
