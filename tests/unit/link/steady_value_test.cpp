#include "fadeward/link/steady_value.hpp"

#include <gtest/gtest.h>

namespace fadeward::link::steady_value_test {
namespace {

TEST(SteadyValue, BelievesAfterThreeInARow) {
  SteadyValue value;
  EXPECT_FALSE(value.take(20));
  EXPECT_FALSE(value.take(17));
  EXPECT_FALSE(value.take(17));
  const auto change = value.take(17);
  ASSERT_TRUE(change);
  EXPECT_EQ(change->from, 20);
  EXPECT_EQ(change->to, 17);
  EXPECT_EQ(value.value(), 17);
}

TEST(SteadyValue, ASlipIsNoChange) {
  SteadyValue value;
  value.take(20);
  for (int i = 0; i < 30; ++i) {
    EXPECT_FALSE(value.take(i % 3 == 2 ? 20 : 17)) << i;
  }
}

}  // namespace
}  // namespace fadeward::link::steady_value_test
