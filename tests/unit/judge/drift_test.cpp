// Known truth: levels that wander from hour to hour, made here, with what is done to them.
#include "fadeward/judge/drift.hpp"

#include <gtest/gtest.h>

#include "unit/judge/invented_hours.hpp"

namespace fadeward::judge::drift_test {
namespace {

using test::InventedHours;

constexpr double kOnset = 10 * 24;

/// The first drift told, hour by hour, with the hour.
struct Told {
  Drift drift;
  double hour = 0;
};
std::optional<Told> first_told(InventedHours& hours, int days, bool stepped = false) {
  HourBook book;
  for (int h = 0; h < days * 24; ++h) {
    hours.fill(book, 1);
    if (const auto found = find_drift(book, {}, stepped)) return Told{*found, hours.count};
  }
  return {};
}

/// Effect of one decibel of a cause on the streams, after the contract's table.
InventedHours::Added ramp(const std::array<double, kStreams>& per_db, double db_a_day) {
  return [=](std::size_t stream, double hour) {
    return per_db[stream] * db_a_day * std::max(0.0, hour - kOnset) / 24;
  };
}

TEST(Drift, NothingIsFoundInWhatOnlyWanders) {
  int told = 0;
  constexpr unsigned kWorlds = 20;
  for (unsigned seed = 1; seed <= kWorlds; ++seed) {
    InventedHours hours(seed);
    told += first_told(hours, 30).has_value();
  }
  // At most one a year is promised of everything; these are 1.6 years.
  EXPECT_LE(told, 2) << "seeds 1.." << kWorlds;
}

TEST(Drift, EachCauseIsToldBeforeItHasGrownLarge) {
  struct Case {
    Cause cause;
    std::array<double, kStreams> per_db;
    double most_db;
  };
  const Case cases[] = {{Cause::path, {-1, 0, 0, 0}, 3},
                        {Cause::far_transmit, {-0.5, -1, 0, 0}, 2},
                        {Cause::near_transmit, {-0.5, 1, 0, 0}, 2},
                        {Cause::near_noise, {0, 0, 1, 0}, 2.5},
                        {Cause::far_noise, {0, 0, 0, 1}, 2.5}};
  for (const Case& one : cases)
    for (unsigned seed = 1; seed <= 5; ++seed) {
      InventedHours hours(seed);
      hours.added = ramp(one.per_db, 0.8);
      const auto told = first_told(hours, 20);
      ASSERT_TRUE(told) << name_of(one.cause) << ", seed " << seed;
      EXPECT_EQ(told->drift.what.cause, one.cause) << "seed " << seed;
      EXPECT_GT(told->hour, kOnset) << name_of(one.cause) << ", seed " << seed;
      EXPECT_LT(0.8 * (told->hour - kOnset) / 24, one.most_db)
          << name_of(one.cause) << ", seed " << seed;
    }
}

TEST(Drift, WhatGrowsBetterIsNoFault) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    InventedHours hours(seed);
    hours.added = ramp({1, 0, -1, -1}, 0.8);
    EXPECT_FALSE(first_told(hours, 20)) << "seed " << seed;
  }
}

/// A path that wanders by twice as much over three times as long teaches that: with what is usual
/// for rural paths it would be told every few days.
TEST(Drift, AnUnquietPathIsLearned) {
  int told = 0;
  constexpr unsigned kWorlds = 20;
  for (unsigned seed = 1; seed <= kWorlds; ++seed) {
    std::mt19937 random(1000 + seed);
    std::normal_distribution<double> normal;
    double x = 0;
    InventedHours hours(seed);
    hours.added = [&](std::size_t stream, double) {
      if (stream != 0) return 0.0;
      const double kept = std::exp(-1.0 / 9);
      x = kept * x + 1.2 * std::sqrt(1 - kept * kept) * normal(random);
      return x;
    };
    HourBook book;
    for (int h = 0; h < 40 * 24; ++h) {
      hours.fill(book, 1);
      if (h >= 20 * 24 && find_drift(book, {}, false)) {
        ++told;
        break;
      }
    }
  }
  EXPECT_LE(told, 3) << "seeds 1.." << kWorlds;
}

TEST(Drift, AfterAStepTheDayItHappenedInIsNotCompared) {
  InventedHours hours(3);
  HourBook book;
  hours.fill(book, 9 * 24);
  hours.added = [](std::size_t stream, double) { return stream == 0 ? -4.0 : 0.0; };
  hours.fill(book, 20);
  const auto found = find_drift(book, {}, false);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->span_hours, 24U);
  const auto stepped = find_drift(book, {}, true);
  EXPECT_TRUE(!stepped || stepped->span_hours > 24U);
}

}  // namespace
}  // namespace fadeward::judge::drift_test
