#include "fadeward/judge/cause.hpp"

#include <gtest/gtest.h>

namespace fadeward::judge {
namespace {

Evidence change(double signal_in, double signal_out, double noise_in, double noise_out) {
  Evidence evidence;
  evidence.signal_change_db = {signal_in, signal_out};
  evidence.noise_change_db = {noise_in, noise_out};
  return evidence;
}

// The table of causes in contract section 4, line by line.
TEST(Cause, FollowsTheTableOfTheContract) {
  EXPECT_EQ(weigh(change(0, 0, 0, 0)).cause, Cause::none);
  EXPECT_EQ(weigh(change(-6, -6, 0, 0)).cause, Cause::path);
  EXPECT_EQ(weigh(change(-6, -6, -5, 0)).cause, Cause::near_antenna);
  EXPECT_EQ(weigh(change(-6, -6, 0, -5)).cause, Cause::far_antenna);
  EXPECT_EQ(weigh(change(-6, 0, 0, 0)).cause, Cause::far_transmit);
  EXPECT_EQ(weigh(change(0, -6, 0, 0)).cause, Cause::near_transmit);
  EXPECT_EQ(weigh(change(-6, 0, -6, 0)).cause, Cause::near_receive);
  EXPECT_EQ(weigh(change(0, -6, 0, -6)).cause, Cause::far_receive);
  EXPECT_EQ(weigh(change(0, 0, 5, 0)).cause, Cause::near_noise);
  EXPECT_EQ(weigh(change(0, 0, 0, 5)).cause, Cause::far_noise);
  EXPECT_DOUBLE_EQ(*weigh(change(0, 0, 0, 5)).size_db, 5);
}

TEST(Cause, LossWithoutAnyOtherChangeIsCollisions) {
  Evidence evidence = change(0, 0, 0, 0);
  evidence.unexplained_loss_ratio[0] = 0.2;
  EXPECT_EQ(weigh(evidence).cause, Cause::collisions);
  evidence.signal_change_db[0] = -9;
  EXPECT_EQ(weigh(evidence).cause, Cause::far_transmit);
}

TEST(Cause, UnknownIsNotAChange) { EXPECT_EQ(weigh(Evidence{}).cause, Cause::none); }

}  // namespace
}  // namespace fadeward::judge
