#include "fadeward/review/season.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "fadeward/review/long_trend.hpp"
#include "fadeward/review/review.hpp"
#include "support/valley_years.hpp"

namespace fadeward::review::season_test {
namespace {

using std::chrono::days;
using test::date;

/// Days of an invented link: weather of 0.6 dB that forgets in two days, rain on one day in twelve,
/// leaves and whatever else `other_db` says.
template <class Other>
std::vector<SpanRow> invented(unsigned seed, Time from, Time to, double leaves_db, Other other_db) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> chance;
  const double kept = std::exp(-0.5);
  double weather = normal(random);
  std::vector<SpanRow> out;
  for (Time day = from; day < to; day += days{1}) {
    weather = kept * weather + std::sqrt(1 - kept * kept) * normal(random);
    SpanRow row;
    row.from = day;
    row.to = day + days{1};
    row.quarters = 96;
    row.margin_db = 20 + 0.6 * weather - (chance(random) < 1.0 / 12 ? 2 * chance(random) : 0) -
                    leaves_db * test::ValleyYears::foliage(day) + other_db(day);
    row.signal_dbm = *row.margin_db - 125;
    row.noise_dbm = -117.0;
    out.push_back(row);
  }
  return out;
}

const auto kNothing = [](Time) { return 0.0; };

// The step of a foliage season lies in its interval 95 times in 100 (400 seasons).
TEST(Season, LeavesAreRecoveredWithinTheirInterval) {
  constexpr unsigned kLinks = 100;
  int held = 0, seasons = 0;
  for (unsigned link = 0; link < kLinks; ++link)
    for (const LeafYear& one :
         leaf_years(invented(20100 + link, date(2031, 1, 1), date(2035, 4, 1), 4, kNothing))) {
      ++seasons;
      held += one.margin.low <= -4 && one.margin.high >= -4;
      EXPECT_TRUE(one.both_sides);
    }
  EXPECT_EQ(seasons, 4 * static_cast<int>(kLinks));
  EXPECT_GE(held, 0.93 * seasons) << "seeds 20100 to 20199";
}

TEST(Season, NoLeavesNoStep) {
  int seen = 0, seasons = 0;
  for (unsigned link = 0; link < 50; ++link)
    for (const LeafYear& one :
         leaf_years(invented(20300 + link, date(2031, 1, 1), date(2035, 4, 1), 0, kNothing))) {
      ++seasons;
      seen += one.margin.p < 0.01;
    }
  EXPECT_LE(seen, seasons / 25) << "seeds 20300 to 20349";
}

// A slow loss of 2 dB a year cancels between the winters on both sides.
TEST(Season, ASlowLossIsNoSeason) {
  double sum = 0;
  int seasons = 0;
  for (unsigned link = 0; link < 20; ++link)
    for (const LeafYear& one :
         leaf_years(invented(20400 + link, date(2031, 1, 1), date(2035, 4, 1), 4, [](Time at) {
           return -2 * duration_to_seconds(at - date(2031, 1, 1)) / (365.25 * 86400);
         }))) {
      sum += one.margin.difference;
      ++seasons;
    }
  EXPECT_NEAR(sum / seasons, -4, 0.15);
}

// On the southern half of the world the summer lies over the new year.
TEST(Season, TheOtherHalfOfTheWorld) {
  const LeafSeason south{{11, 25}, {3, 25}, {5, 25}, {9, 25}};
  const auto rows = invented(20500, date(2031, 1, 1), date(2034, 1, 1), -4,
                             kNothing);  // higher in the north's summer
  for (const LeafYear& one : leaf_years(rows, south))
    EXPECT_NEAR(one.margin.difference, -4, 0.8) << one.year;
}

TEST(Season, TheSameDaysAYearBefore) {
  int held = 0;
  for (unsigned link = 0; link < 200; ++link) {
    // Across the fall of the leaves; a step of -1.5 dB a year after the first.
    const auto rows = invented(20600 + link, date(2031, 1, 1), date(2033, 1, 1), 6,
                               [](Time at) { return at < date(2032, 6, 1) ? 0 : -1.5; });
    const Comparison found =
        compare_with_year_before({&rows, nullptr}, "x", date(2032, 10, 1), date(2032, 12, 1));
    ASSERT_TRUE(found.margin[0]);
    EXPECT_FALSE(found.margin[1]);
    // 2032 has a leap day: the leaves stand at most 1/4 dB from those of the same day count.
    held += found.margin[0]->low <= -1.5 + 0.25 && found.margin[0]->high >= -1.5 - 0.25;
  }
  EXPECT_GE(held, 180) << "seeds 20600 to 20799";
}

TEST(Season, DaysOfUpkeepDoNotCount) {
  auto rows = invented(20900, date(2031, 1, 1), date(2031, 3, 1), 0, kNothing);
  for (std::size_t i = 30; i < rows.size(); ++i) rows[i].upkeep_quarters = 4;
  EXPECT_EQ(margins_between(rows, date(2031, 1, 1), date(2031, 3, 1)).size(), 30u);
}

TEST(Season, YearsAreLaidOverEachOther) {
  const auto years = years_of(invented(20901, date(2031, 12, 30), date(2033, 1, 2), 0, kNothing));
  ASSERT_EQ(years.size(), 3u);
  EXPECT_EQ(years[0].year, 2031);
  EXPECT_TRUE(years[0].margin_db[364]);
  EXPECT_FALSE(years[0].margin_db[365]);
  EXPECT_TRUE(years[1].margin_db[365]) << "31 December of a leap year";
  EXPECT_TRUE(years[2].margin_db[0]);
}

// A loss of 1.5 dB a year under leaves of 4 dB, from months as the store gives them.
TEST(LongTrend, ALossUnderLeaves) {
  int held = 0;
  for (unsigned link = 0; link < 40; ++link) {
    const auto rows = invented(21000 + link, date(2031, 1, 1), date(2036, 1, 1), 4, [](Time at) {
      return -1.5 * duration_to_seconds(at - date(2031, 1, 1)) / (365.25 * 86400);
    });
    std::vector<SpanRow> months;
    for (int year = 2031; year < 2036; ++year)
      for (unsigned month = 1; month <= 12; ++month) {
        auto values = margins_between(rows, date(year, month, 1),
                                      date(month == 12 ? year + 1 : year, month % 12 + 1, 1))
                          .values;
        std::ranges::nth_element(values, values.begin() + 14);
        SpanRow row;
        row.from = date(year, month, 1);
        row.quarters = 2880;
        row.margin_db = values[14];
        months.push_back(row);
      }
    const LongTrend trend = long_trend(rows, months, 10);
    ASSERT_TRUE(trend.season_known);
    EXPECT_NEAR(*trend.db_per_year, -1.5, 0.25) << "seed " << 21000 + link;
    EXPECT_LT(trend.p, 0.001);
    held += trend.low <= -1.5 && trend.high >= -1.5;
    // A month's median is known to 0.3 dB, the slope over five Junes to 0.1 dB a year and that of
    // all months to less; months that are compared with others of four decibels less would not be.
    EXPECT_LT(trend.high - trend.low, 0.5) << "seed " << 21000 + link;
    ASSERT_TRUE(trend.crossing);
  }
  EXPECT_GE(held, 34);
}

// Three days of a month say nothing of it: with or without such months the trend is the same.
TEST(LongTrend, MonthsOfAFewDaysDoNotCount) {
  const auto rows = invented(21050, date(2031, 1, 1), date(2034, 1, 1), 0, kNothing);
  std::vector<SpanRow> months;
  for (int year = 2031; year < 2034; ++year)
    for (unsigned month = 1; month <= 12; ++month) {
      SpanRow row;
      row.from = date(year, month, 1);
      row.quarters = 2880;
      row.margin_db = 20 - 0.1 * (year - 2031) + 0.01 * month;
      months.push_back(row);
    }
  const LongTrend whole = long_trend(rows, months, {});
  ASSERT_TRUE(whole.season_known);
  EXPECT_NEAR(*whole.db_per_year, -0.1, 1e-9);
  for (unsigned month = 1; month <= 12; ++month) {
    SpanRow row;
    row.from = date(2034, month, 1);
    row.quarters = 3 * 96;
    row.margin_db = -30;
    months.push_back(row);
  }
  const LongTrend with = long_trend(rows, months, {});
  EXPECT_DOUBLE_EQ(with.db_per_year.value_or(0), *whole.db_per_year);
  EXPECT_DOUBLE_EQ(with.p, whole.p);
}

TEST(LongTrend, SaysNothingTooEarly) {
  const auto rows = invented(21100, date(2031, 1, 1), date(2031, 1, 20), 4, kNothing);
  EXPECT_FALSE(long_trend(rows, {}, {}).db_per_year);
  EXPECT_FALSE(long_trend({}, {}, 10).crossing);
}

/// A clear shift with nothing left to doubt.
estimate::Shift clear_shift(double difference_db) {
  return {difference_db, difference_db - 0.3, difference_db + 0.3, 1e-6, 3, 30, 30};
}

// The signatures of contract section 4: which of signal and noise changed at which end.
TEST(LikelyCause, SignaturesOfTheContract) {
  struct Case {
    double in, out, near, far;
    Cause cause;
  };
  for (const Case& one :
       {Case{-5, -5, 0, 0, Cause::path}, Case{5, 5.5, 0, 0, Cause::path},
        Case{-5, -5, -2, 0, Cause::near_antenna}, Case{-5, -5, 0, -2, Cause::far_antenna},
        Case{-4, 0, 0, 0, Cause::far_transmit}, Case{0, -4, 0, 0, Cause::near_transmit},
        Case{-4, 0, -4, 0, Cause::near_receive}, Case{0, -4, 0, -4, Cause::far_receive},
        Case{0, 0, 6, 0, Cause::near_noise}, Case{0, 0, 0, 6, Cause::far_noise},
        Case{0, 0, 0, 0, Cause::none}, Case{-5, 5, 0, 0, Cause::none}}) {
    Comparison comparison;
    comparison.signal = {clear_shift(one.in), clear_shift(one.out)};
    comparison.noise = {clear_shift(one.near), clear_shift(one.far)};
    EXPECT_EQ(likely_cause(comparison), one.cause)
        << one.in << ' ' << one.out << ' ' << one.near << ' ' << one.far;
  }
}

// What chance explains, what may be nothing and what is less than a decibel is no change.
TEST(LikelyCause, DoubtIsNoCause) {
  for (const estimate::Shift& doubtful : {estimate::Shift{-5, -5.3, -4.7, 0.05, 3, 30, 30},
                                          {-5, -11, 1, 1e-6, 3, 30, 30},
                                          {-0.9, -1, -0.8, 1e-6, 3, 30, 30}}) {
    Comparison comparison;
    comparison.signal = {doubtful, doubtful};
    EXPECT_EQ(likely_cause(comparison), Cause::none) << doubtful.difference << ' ' << doubtful.p;
    comparison.noise = {clear_shift(6), clear_shift(0)};
    EXPECT_EQ(likely_cause(comparison), Cause::near_noise);
  }
}

}  // namespace
}  // namespace fadeward::review::season_test
