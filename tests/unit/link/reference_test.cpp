#include "fadeward/link/reference.hpp"

#include <gtest/gtest.h>

namespace fadeward::link {
namespace {

TEST(Reference, UnknownForTheFirstHour) {
  Reference reference;
  for (int i = 0; i < 3; ++i) {
    reference.add_quarter(-100);
    EXPECT_FALSE(reference.level_db());
  }
  reference.add_quarter(-100);
  EXPECT_DOUBLE_EQ(*reference.level_db(), -100);
}

TEST(Reference, RainPassesAndAStepIsFollowedOverDays) {
  Reference reference;
  for (int i = 0; i < 96 * 3; ++i) reference.add_quarter(-100);
  for (int i = 0; i < 12; ++i) reference.add_quarter(-108);   // three hours of rain
  EXPECT_NEAR(*reference.level_db(), -100, 0.1);
  for (int i = 0; i < 96; ++i) reference.add_quarter(-108);   // a day after a step
  EXPECT_NEAR(*reference.level_db(), -100, 0.7);
  for (int i = 0; i < 96 * 40; ++i) reference.add_quarter(-108);
  EXPECT_NEAR(*reference.level_db(), -108, 0.1);
}

}  // namespace
}  // namespace fadeward::link
