// Upper critical values of the chi-square distribution: NIST/SEMATECH e-Handbook of Statistical
// Methods, section 1.3.6.7.4 (from memory).
#include "fadeward/estimate/chi_square.hpp"

#include <gtest/gtest.h>

#include <random>
#include <vector>

namespace fadeward::estimate::chi_square_test {
namespace {

/// Counts whose statistic is what is wanted: two that differ from n by d make 2 d^2 / n.
TEST(Evenness, AgreesWithTheTable) {
  // One degree of freedom: 3.841 at 0.05, 10.828 at 0.001. Counts a and b: (a - b)^2 / (a + b).
  const std::vector<std::uint32_t> five = {119600, 120959};  // 1359^2 / 240559 = 7.677
  const Evenness one = evenness_of(five);
  EXPECT_EQ(one.freedom, 1);
  EXPECT_NEAR(one.statistic, 1359.0 * 1359 / 240559, 1e-9);
  EXPECT_GT(one.p, 0.005);  // 7.879
  EXPECT_LT(one.p, 0.010);  // 6.635
  // 49 degrees: 66.339 at 0.05, 74.919 at 0.01, 85.351 at 0.001.
  std::vector<std::uint32_t> fifty(50, 1000);
  const auto with = [&](std::uint32_t off) {
    fifty[0] = 1000 + off;
    fifty[1] = 1000 - off;
    return evenness_of(fifty);
  };
  const Evenness at_66 = with(182), at_85 = with(207);  // 66.248 and 85.698
  EXPECT_NEAR(at_66.statistic, 66.248, 1e-9);
  EXPECT_NEAR(at_66.p, 0.05, 0.002);
  EXPECT_NEAR(at_85.statistic, 85.698, 1e-9);
  EXPECT_NEAR(at_85.p, 0.001, 0.0001);
}

TEST(Evenness, NothingIsKnownOfNothing) {
  EXPECT_EQ(evenness_of({}).p, 1);
  const std::vector<std::uint32_t> one = {7}, none = {0, 0, 0};
  EXPECT_EQ(evenness_of(one).p, 1);
  EXPECT_EQ(evenness_of(none).p, 1);
}

// Even by construction: p is spread evenly, so one in twenty lies below 0.05.
TEST(Evenness, ChanceAloneIsRarelyFound) {
  constexpr unsigned kSeed = 71;
  std::mt19937 random(kSeed);
  int found = 0;
  for (int trial = 0; trial < 2000; ++trial) {
    std::vector<std::uint32_t> counts(50, 0);
    for (int i = 0; i < 1000; ++i) ++counts[random() % 50];
    found += evenness_of(counts).p < 0.05;
  }
  EXPECT_NEAR(found, 100, 40) << "seed " << kSeed;
}

}  // namespace
}  // namespace fadeward::estimate::chi_square_test
