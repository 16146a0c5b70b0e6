#include "fadeward/link/reciprocal.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "fadeward/base/archive.hpp"

namespace fadeward::link::reciprocal_test {
namespace {

TEST(Reciprocal, KnowsNothingAtFirst) {
  Reciprocal path;
  EXPECT_FALSE(path.known());
  path.add(2, 0);  // no variance: not a measurement
  EXPECT_FALSE(path.known());
}

TEST(Reciprocal, MeanOfFewHoursIsTheirMean) {
  Reciprocal path;
  for (const double value : {1.0, 2.0, 3.0, 2.0}) path.add(value, 1);
  EXPECT_NEAR(path.difference_db(), 2, 0.02);
  EXPECT_NEAR(path.variance(), 0.25, 0.01);  // 1 / n
}

TEST(Reciprocal, LongMeasurementsAreHonest) {
  std::mt19937 random(3);
  std::normal_distribution<double> error(0, 0.5);
  Reciprocal path;
  int honest = 0;
  constexpr int kHours = 2000;
  for (int i = 0; i < kHours; ++i) {
    path.add(-1.5 + error(random), 0.25);
    honest += std::abs(path.difference_db() + 1.5) <= 2 * std::sqrt(path.variance()) ? 1 : 0;
  }
  EXPECT_GT(honest, 0.9 * kHours) << "seed 3";
  EXPECT_NEAR(path.difference_db(), -1.5, 0.3) << "seed 3";
}

TEST(Reciprocal, AFaultAtOneEndBeginsAnew) {
  Reciprocal path;
  for (int i = 0; i < 50; ++i) path.add(1, 0.1);
  path.add(-5, 0.1);
  EXPECT_DOUBLE_EQ(path.difference_db(), -5);
}

TEST(Reciprocal, ArchivesAndRefusesNonsense) {
  Reciprocal path;
  path.add(1.25, 0.5);
  std::string bytes;
  ArchiveWriter writer(bytes);
  path.archive(writer);
  Reciprocal again;
  ArchiveReader reader(bytes);
  again.archive(reader);
  EXPECT_DOUBLE_EQ(again.difference_db(), 1.25);
  EXPECT_DOUBLE_EQ(again.variance(), 0.5);

  double difference_db = NAN, variance = -1;
  std::string bad;
  ArchiveWriter bad_writer(bad);
  bad_writer(difference_db, variance);
  ArchiveReader bad_reader(bad);
  again.archive(bad_reader);
  EXPECT_FALSE(again.known());
}

}  // namespace
}  // namespace fadeward::link::reciprocal_test
