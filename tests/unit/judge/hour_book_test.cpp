// Known truth: levels that wander from hour to hour, made here, with what is done to them.
#include "fadeward/judge/hour_book.hpp"

#include <gtest/gtest.h>

#include "fadeward/base/archive.hpp"
#include "unit/judge/invented_hours.hpp"

namespace fadeward::judge::hour_book_test {
namespace {

using namespace std::chrono_literals;
using test::InventedHours;

TEST(HourBook, AnEmptyOneKnowsNothing) {
  HourBook book;
  EXPECT_EQ(book.size(), 0U);
  EXPECT_EQ(book.since(test::kFirstHour), 0U);
  book.learn();
  EXPECT_LE(book.learned_hours(0, 0), 0);
}

TEST(HourBook, KeepsNineDaysAndTheReference) {
  HourBook book;
  InventedHours hours(1);
  hours.fill(book, 400);
  EXPECT_EQ(book.size(), HourBook::kHours);
  EXPECT_EQ(book.back(0).end, test::kFirstHour + 400h);
  EXPECT_EQ(book.since(test::kFirstHour + 390h), 10U);
  EXPECT_EQ(book.learned_hours(0, 0), 400 - 23);
}

TEST(HourBook, RainIsNotInTheLevelOfTheSignal) {
  HourBook book;
  InventedHours hours(2);
  hours.added = [](std::size_t stream, double hour) {
    return stream == 0 && hour >= 40 && hour < 45 ? -6.0 : 0.0;
  };
  hours.fill(book, 48);
  // Five of 24 hours: the plain mean would be 1.25 dB lower.
  EXPECT_NEAR(*book.level_db(0, 0, 24), -60, 0.75) << "seed 2";
}

TEST(HourBook, BurstsOfNoiseAreNotInItsLevelNorQuietHours) {
  HourBook book;
  InventedHours hours(3);
  hours.added = [](std::size_t stream, double hour) {
    if (stream != 2) return 0.0;
    return hour >= 40 && hour < 45 ? 20.0 : hour >= 30 && hour < 34 ? -20.0 : 0.0;
  };
  hours.fill(book, 48);
  EXPECT_NEAR(*book.level_db(2, 0, 24), -60, 0.6) << "seed 3";
}

TEST(HourBook, HalfOfTheHoursMustBeKnown) {
  HourBook book;
  InventedHours hours(4);
  for (int h = 0; h < 24; ++h) {
    HourBook::Hour hour = hours.next();
    if (h % 2 == 1 && h > 2) hour.known = 0;
    book.push(hour);
    book.learn();
  }
  EXPECT_TRUE(book.level_db(0, 0, 24));
  book.push({});
  book.push({});
  EXPECT_FALSE(book.level_db(0, 0, 24));
}

TEST(HourBook, WhatWasAcceptedMovesEverything) {
  HourBook book;
  InventedHours hours(5);
  hours.fill(book, 200);
  const double level = *book.level_db(0, 0, 24), days = *book.mean_of_days_db(0, 0, 4);
  const int slow_cdb = book.back(0).level_cdb[0];
  book.accept(0, -3);
  EXPECT_NEAR(*book.level_db(0, 0, 24), level - 3, 1e-6);
  EXPECT_NEAR(*book.mean_of_days_db(0, 0, 4), days - 3, 1e-6);
  EXPECT_EQ(book.back(0).level_cdb[0], slow_cdb - 300);
  // The next hour's slow level goes on from there.
  hours.added = [](std::size_t stream, double) { return stream == 0 ? -3.0 : 0.0; };
  hours.fill(book, 1);
  EXPECT_NEAR(book.back(0).level_cdb[0], slow_cdb - 300, 10);
}

TEST(HourBook, AForgottenLevelIsLearnedAnew) {
  HourBook book;
  InventedHours hours(6);
  hours.fill(book, 100);
  book.forget(0);
  EXPECT_FALSE(book.level_db(0, 0, 24));
  EXPECT_TRUE(book.level_db(1, 0, 24));
  hours.added = [](std::size_t stream, double) { return stream == 0 ? -20.0 : 0.0; };
  hours.fill(book, 30);
  EXPECT_NEAR(book.back(0).level_cdb[0] / 100.0, -80, 1) << "seed 6";
}

TEST(HourBook, ArchiveGoesOnAlike) {
  HourBook book, copy;
  InventedHours hours(7);
  hours.fill(book, 230);
  std::string bytes;
  ArchiveWriter writer(bytes);
  book.archive(writer);
  ArchiveReader reader(bytes);
  copy.archive(reader);
  ASSERT_TRUE(reader.ok());
  InventedHours more = hours;
  hours.fill(book, 40);
  more.fill(copy, 40);
  EXPECT_EQ(book.back(0).level_cdb, copy.back(0).level_cdb);
  EXPECT_EQ(book.spread(0).sigma_db(2), copy.spread(0).sigma_db(2));
}

}  // namespace
}  // namespace fadeward::judge::hour_book_test
