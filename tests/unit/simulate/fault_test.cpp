#include "fadeward/simulate/fault.hpp"

#include <gtest/gtest.h>

#include <chrono>

namespace fadeward::simulate::fault_test {
namespace {

using std::chrono::hours;

const Time kFrom{std::chrono::seconds(1932768000)};

Effects at(const Fault& fault, Duration after, int channel = 0) {
  Effects sum;
  add_effects(fault, kFrom + after, channel, sum);
  return sum;
}

Fault path_loss(Shape shape) {
  Fault fault;
  fault.cause = Cause::path;
  fault.shape = shape;
  fault.from = kFrom;
  fault.size = 6;
  return fault;
}

TEST(Fault, AStepIsWholeFromItsOnsetToItsEnd) {
  Fault fault = path_loss(Shape::step);
  EXPECT_EQ(at(fault, -hours(1)).path_db, 0);
  EXPECT_EQ(at(fault, hours(0)).path_db, 6);
  EXPECT_EQ(at(fault, hours(1'000'000)).path_db, 6);
  fault.until = kFrom + hours(2);
  EXPECT_EQ(at(fault, hours(2) - Duration(1)).path_db, 6);
  EXPECT_EQ(at(fault, hours(2)).path_db, 0);
}

TEST(Fault, ADriftGrowsEvenlyAndStays) {
  Fault fault = path_loss(Shape::drift);
  fault.ramp = hours(10);
  EXPECT_DOUBLE_EQ(at(fault, hours(0)).path_db, 0);
  EXPECT_DOUBLE_EQ(at(fault, hours(5)).path_db, 3);
  EXPECT_DOUBLE_EQ(at(fault, hours(10)).path_db, 6);
  EXPECT_DOUBLE_EQ(at(fault, hours(99)).path_db, 6);
}

TEST(Fault, WetWeatherAddsToWhatIsThere) {
  Fault fault = path_loss(Shape::drift);
  fault.ramp = hours(10);
  fault.per_rain_db = 0.5;
  Effects dry, wet;
  add_effects(fault, kFrom + hours(5), 0, dry);
  add_effects(fault, kFrom + hours(5), 0, wet, 4);
  EXPECT_DOUBLE_EQ(dry.path_db, 3);
  EXPECT_DOUBLE_EQ(wet.path_db, 3 + 0.5 * 4 / 2) << "half grown";
}

TEST(Fault, ACycleSwingsOnceADayWithGrowingSize) {
  Fault fault = path_loss(Shape::cycle);
  fault.ramp = hours(24 * 10);
  EXPECT_NEAR(at(fault, hours(24 * 5 + 6)).path_db, 6 * 5.25 / 10, 1e-9);
  EXPECT_NEAR(at(fault, hours(24 * 5 + 18)).path_db, -6 * 5.75 / 10, 1e-9);
  EXPECT_NEAR(at(fault, hours(24 * 20 + 6)).path_db, 6, 1e-9);
}

TEST(Fault, JammedChannelsLeaveTheOthersAlone) {
  Fault fault;
  fault.cause = Cause::near_channels;
  fault.from = kFrom;
  fault.size = 3;
  fault.channels = {4, 9};
  EXPECT_EQ(at(fault, hours(1), 4).near_noise_db, 3);
  EXPECT_EQ(at(fault, hours(1), 5).near_noise_db, 0);
  EXPECT_EQ(at(fault, hours(1), 9).near_noise_db, 3);
  EXPECT_EQ(at(fault, hours(1), 9).far_noise_db, 0);
}

TEST(Fault, CollisionsHitOneDirection) {
  Fault fault;
  fault.cause = Cause::collisions;
  fault.from = kFrom;
  fault.size = 0.2;
  EXPECT_EQ(at(fault, hours(1)).collision_in, 0.2);
  EXPECT_EQ(at(fault, hours(1)).collision_out, 0);
  fault.direction = Direction::outbound;
  EXPECT_EQ(at(fault, hours(1)).collision_in, 0);
  EXPECT_EQ(at(fault, hours(1)).collision_out, 0.2);
}

TEST(Fault, FaultsOfOneKindAddUp) {
  Effects sum;
  add_effects(path_loss(Shape::step), kFrom, 0, sum);
  add_effects(path_loss(Shape::burst), kFrom, 0, sum);
  EXPECT_EQ(sum.path_db, 12);
}

}  // namespace
}  // namespace fadeward::simulate::fault_test
