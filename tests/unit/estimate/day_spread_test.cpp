// Known truth: an Ornstein-Uhlenbeck process, whose mean over a span T has the variance
// sigma^2 2 (a - 1 + exp(-a)) / a^2 with a = T / tau (the variance of a time average; textbooks on
// random signals, from memory). The process itself is made here exactly, hour means by integrating
// short steps.
#include "fadeward/estimate/day_spread.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numeric>
#include <random>
#include <vector>

#include "fadeward/base/archive.hpp"

namespace fadeward::estimate::day_spread_test {
namespace {

double sigma_of_mean(double sigma, double tau_h, double span_h) {
  const double a = span_h / tau_h;
  return sigma * std::sqrt(2 * (a - 1 + std::exp(-a))) / a;
}

std::vector<double> hours_of(double sigma, double tau_h, std::size_t count, unsigned seed) {
  constexpr int kSteps = 20;
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  const double kept = std::exp(-1 / (tau_h * kSteps));
  double x = sigma * normal(random);
  std::vector<double> out;
  for (std::size_t h = 0; h < count; ++h) {
    double sum = 0;
    for (int step = 0; step < kSteps; ++step) {
      x = kept * x + sigma * std::sqrt(1 - kept * kept) * normal(random);
      sum += x;
    }
    out.push_back(sum / kSteps);
  }
  return out;
}

double mean(const std::vector<double>& of, std::size_t end, std::size_t count) {
  return std::accumulate(of.begin() + static_cast<std::ptrdiff_t>(end - count),
                         of.begin() + static_cast<std::ptrdiff_t>(end), 0.0) /
         static_cast<double>(count);
}

/// The level is 0 and known.
DaySpread taught(const std::vector<double>& hours, DaySpread spread = {0.4, 0.3}) {
  for (std::size_t h = 48; h <= hours.size(); ++h) {
    spread.add_quarters(mean(hours, h, 6), mean(hours, h - 6, 6));
    spread.add_day(mean(hours, h, 24));
    spread.add_step(mean(hours, h, 24) - mean(hours, h - 24, 24));
  }
  return spread;
}

TEST(DaySpread, BeginsWithWhatIsUsual) {
  const DaySpread spread(0.4, 0.3);
  EXPECT_NEAR(spread.sigma_db(1), 0.4, 1e-12);
  EXPECT_LT(spread.sigma_db(4), 0.5 * 0.4 * 1.3);
  EXPECT_GT(spread.sigma_db(4), 0.5 * 0.4);
  EXPECT_LT(spread.freedom(), 10);
}

TEST(DaySpread, FindsTheSpreadOfDaysOfAnyLength) {
  for (const double tau_h : {1.5, 3.0, 8.0})
    for (const double sigma : {0.2, 0.8, 3.0}) {
      const auto hours = hours_of(sigma, tau_h, 120 * 24, 7);
      const DaySpread spread = taught(hours);
      for (const double days : {1.0, 2.0, 4.0, 8.0}) {
        const double truth = sigma_of_mean(sigma, tau_h, 24 * days);
        EXPECT_NEAR(spread.sigma_db(days), truth, 0.17 * truth)
            << "seed 7, tau " << tau_h << " h, sigma " << sigma << ", " << days << " days";
      }
      EXPECT_GT(spread.freedom(), 60);
    }
}

/// Within ten days already nearer than the days alone can tell: ten values have a standard
/// deviation that is itself uncertain by 1 / sqrt(20).
TEST(DaySpread, TenDaysTellMoreThanTenValuesWould) {
  const double truth = sigma_of_mean(1.2, 3, 24);
  double squares = 0;
  constexpr unsigned kWorlds = 60;
  for (unsigned seed = 1; seed <= kWorlds; ++seed) {
    const double off = std::log(taught(hours_of(1.2, 3, 12 * 24, seed)).sigma_db(1) / truth);
    squares += off * off;
  }
  EXPECT_LT(std::sqrt(squares / kWorlds), 1 / std::sqrt(20.0)) << "seeds 1.." << kWorlds;
}

/// The plain standard deviation of all days, for comparison.
double plain(const std::vector<double>& hours) {
  double squares = 0;
  for (std::size_t h = 24; h <= hours.size(); ++h)
    squares += mean(hours, h, 24) * mean(hours, h, 24);
  return std::sqrt(squares / static_cast<double>(hours.size() - 23));
}

TEST(DaySpread, ShowersAndFaultsDoNotHideThemselves) {
  auto hours = hours_of(0.8, 3, 60 * 24, 11);
  const double quiet = taught(hours).sigma_db(1), plain_quiet = plain(hours);
  for (std::size_t h = 100; h + 5 < hours.size(); h += 96)
    for (std::size_t k = 0; k < 4; ++k) hours[h + k] -= 5;  // four hours of rain every four days
  const double wet = taught(hours).sigma_db(1);
  EXPECT_GE(wet, quiet);
  EXPECT_LT(wet / quiet, plain(hours) / plain_quiet) << "seed 11";
  for (std::size_t h = 30 * 24; h < 31 * 24; ++h) hours[h] -= 30;
  EXPECT_GT(plain(hours), 6 * plain_quiet);
  EXPECT_LT(taught(hours).sigma_db(1), 1.5 * quiet) << "seed 11";
}

TEST(DaySpread, WhatCameAndWentIsUsualHere) {
  DaySpread spread = taught(hours_of(0.8, 3, 30 * 24, 5));
  const double before = spread.sigma_db(1);
  spread.add_return(4);
  EXPECT_GT(spread.sigma_db(1), 1.3 * before);
  const double after = spread.sigma_db(1);
  spread.add_return(0.1);  // smaller than what is usual: nothing new
  EXPECT_EQ(spread.sigma_db(1), after);
}

TEST(DaySpread, ArchiveGoesOnAlike) {
  const auto hours = hours_of(0.8, 3, 20 * 24, 3);
  DaySpread spread = taught(hours);
  std::string bytes;
  ArchiveWriter writer(bytes);
  spread.archive(writer);
  DaySpread copy(1, 0);
  ArchiveReader reader(bytes);
  copy.archive(reader);
  ASSERT_TRUE(reader.ok());
  EXPECT_EQ(taught(hours, spread).sigma_db(3), taught(hours, copy).sigma_db(3));
  EXPECT_EQ(spread.freedom(), copy.freedom());
}

}  // namespace
}  // namespace fadeward::estimate::day_spread_test
