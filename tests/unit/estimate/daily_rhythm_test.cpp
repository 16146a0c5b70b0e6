// Known truth: harmonics plus noise that forgets from hour to hour, made here.
#include "fadeward/estimate/daily_rhythm.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

#include "fadeward/base/archive.hpp"

namespace fadeward::estimate::daily_rhythm_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

struct World {
  double level = -101;
  double day_db = 0, day_hour = 0;       ///< amplitude, and the hour of the day of its top
  double half_db = 0, half_hour = 0;
  double sigma_db = 0.8, correlation = 0.65;
  double drift_db_per_day = 0;

  double daily(Time at) const {
    const double hour = static_cast<double>(at.time_since_epoch().count() % 86'400'000'000) / 3.6e9;
    return day_db * std::cos(2 * std::numbers::pi * (hour - day_hour) / 24) +
           half_db * std::cos(2 * std::numbers::pi * (hour - half_hour) / 12);
  }
};

class Course {
 public:
  Course(World world, unsigned seed) : world_(world), random_(seed) { noise_ = world_.sigma_db * normal_(random_); }

  /// The mean of the next hour; `now` is its end.
  double next() {
    now += 1h;
    const double r = world_.correlation;
    noise_ = r * noise_ + world_.sigma_db * std::sqrt(1 - r * r) * normal_(random_);
    const double days = static_cast<double>((now - kStart).count()) / 86.4e9;
    return world_.level + world_.daily(now - 30min) + world_.drift_db_per_day * days + noise_;
  }
  void feed(DailyRhythm& rhythm, int hours) {
    for (int i = 0; i < hours; ++i) {
      const double value = next();
      rhythm.add(now, value);
      rhythm.learn(now, value);
    }
  }
  Time now = kStart;

 private:
  World world_;
  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;
  double noise_ = 0;
};

/// Deviation of a harmonic's coefficient fitted to `n` hours of such noise: its spectral density there.
double coefficient_sigma(const World& w, double period_h, double n) {
  const double r = w.correlation, cosine = std::cos(2 * std::numbers::pi / period_h);
  const double density = w.sigma_db * w.sigma_db * (1 - r * r) / (1 - 2 * r * cosine + r * r);
  return std::sqrt(2 * density / n);
}

TEST(DailyRhythm, NothingBeforeTwoDays) {
  DailyRhythm rhythm;
  Course course({.day_db = 3}, 1);
  course.feed(rhythm, 24);
  EXPECT_EQ(rhythm.hours(), 24U);
  EXPECT_DOUBLE_EQ(rhythm.daily_db(course.now), 0);
}

TEST(DailyRhythm, FindsAmplitudePhaseAndLevel) {
  const World world{.day_db = 2, .day_hour = 15, .half_db = 1, .half_hour = 4};
  constexpr int kSeeds = 20;
  // A memory of three weeks weighs like twice as many hours alike.
  const double sigma_day = coefficient_sigma(world, 24, 2 * 21 * 24), sigma_half = coefficient_sigma(world, 12, 2 * 21 * 24);
  double cos_sum = 0, sin_sum = 0, half_sum = 0, level_sum = 0;
  for (unsigned seed = 1; seed <= kSeeds; ++seed) {
    DailyRhythm rhythm;
    Course course(world, seed);
    course.feed(rhythm, 60 * 24);
    // Projected on the true course and on what is a quarter turn off.
    double along = 0, across = 0, half = 0;
    for (int h = 0; h < 24; ++h) {
      const double d = rhythm.daily_db(kStart + std::chrono::hours{h});
      along += d * std::cos(2 * std::numbers::pi * (h - world.day_hour) / 24) / 12;
      across += d * std::sin(2 * std::numbers::pi * (h - world.day_hour) / 24) / 12;
      half += d * std::cos(2 * std::numbers::pi * (h - world.half_hour) / 12) / 12;
    }
    EXPECT_NEAR(along, world.day_db, 0.05 * world.day_db + 4.5 * sigma_day) << "seed " << seed;
    EXPECT_NEAR(across, 0, 4.5 * sigma_day) << "seed " << seed;
    EXPECT_NEAR(half, world.half_db, 0.05 * world.half_db + 4.5 * sigma_half) << "seed " << seed;
    EXPECT_NEAR(rhythm.level(), world.level, 0.4) << "seed " << seed;
    cos_sum += along;
    sin_sum += across;
    half_sum += half;
    level_sum += rhythm.level();
  }
  // A ridge of 8 hours against some 250: 3 % too small at most, no turn.
  const double root = std::sqrt(kSeeds);
  EXPECT_NEAR(cos_sum / kSeeds, world.day_db, 0.04 * world.day_db + 3 * sigma_day / root);
  EXPECT_NEAR(sin_sum / kSeeds, 0, 3 * sigma_day / root);
  EXPECT_NEAR(half_sum / kSeeds, world.half_db, 0.04 * world.half_db + 3 * sigma_half / root);
  EXPECT_NEAR(level_sum / kSeeds, world.level, 0.1);
}

TEST(DailyRhythm, KnowsHowMuchHoursDiffer) {
  for (const auto& [sigma, correlation] : {std::pair{0.8, 0.65}, {0.3, 0.3}, {1.5, 0.85}}) {
    double sigma_sum = 0, correlation_sum = 0;
    constexpr int kSeeds = 30;
    for (unsigned seed = 1; seed <= kSeeds; ++seed) {
      DailyRhythm rhythm;
      Course course({.day_db = 1, .sigma_db = sigma, .correlation = correlation}, seed);
      course.feed(rhythm, 150 * 24);
      sigma_sum += rhythm.hour_sigma_db();
      correlation_sum += rhythm.correlation();
    }
    EXPECT_NEAR(sigma_sum / kSeeds, sigma, 0.08 * sigma) << "seeds 1.." << kSeeds;
    EXPECT_NEAR(correlation_sum / kSeeds, correlation, 0.05) << "seeds 1.." << kSeeds;
  }
}

TEST(DailyRhythm, ADriftIsNotTakenForNoise) {
  double plain = 0, drifting = 0;
  for (unsigned seed = 1; seed <= 20; ++seed) {
    DailyRhythm one, other;
    Course({.sigma_db = 0.5}, seed).feed(one, 45 * 24);
    Course({.sigma_db = 0.5, .drift_db_per_day = 0.1}, seed).feed(other, 45 * 24);
    plain += one.hour_sigma_db();
    drifting += other.hour_sigma_db();
  }
  // 4.5 dB of drift: about the slow level hours stray by more than a dB.
  EXPECT_NEAR(drifting, plain, 0.06 * plain) << "seeds 1..20";
}

// Variance of a mean of n values of a first-order sequence: s^2 / n^2 * sum of r^|i - j|.
TEST(DailyRhythm, MeanOverHoursAsSummedUp) {
  DailyRhythm rhythm;
  Course({}, 5).feed(rhythm, 30 * 24);
  const double r = rhythm.correlation(), s = rhythm.hour_sigma_db();
  for (const int n : {1, 2, 6, 24, 72}) {
    double sum = 0;
    for (int i = 0; i < n; ++i)
      for (int j = 0; j < n; ++j) sum += std::pow(r, std::abs(i - j));
    EXPECT_NEAR(rhythm.mean_sigma_db(n), s * std::sqrt(sum) / n, 1e-6) << n;
  }
}

TEST(DailyRhythm, AGapIsNoDifferenceOfAnHour) {
  DailyRhythm rhythm;
  Course course({.day_db = 2, .day_hour = 9}, 7);
  course.feed(rhythm, 20 * 24);
  const double sigma = rhythm.hour_sigma_db(), daily = rhythm.daily_db(course.now);
  course.now += 72h;
  EXPECT_DOUBLE_EQ(rhythm.daily_db(course.now), daily);
  rhythm.add(course.now, -90);
  EXPECT_DOUBLE_EQ(rhythm.hour_sigma_db(), sigma);
  for (int i = 0; i < 10 * 24; ++i) {
    const double value = course.next();
    rhythm.add(course.now, value);
    rhythm.learn(course.now, value);
  }
  EXPECT_NEAR(rhythm.daily_db(Time{9h}), 2, 0.7);
}

// A course that was learned by a clock that goes wrong by `step`, and by one that does not.
TEST(DailyRhythm, ASetClockTurnsWhatWasLearned) {
  for (const Duration step : {Duration{7h + 13min}, Duration{-30h}, Duration{24h * 365 * 20 + 1h}}) {
    DailyRhythm moved, straight;
    Course course({.day_db = 2, .day_hour = 15, .half_db = 1, .half_hour = 4}, 2);
    const auto feed = [&](int hours, Duration off) {
      for (int i = 0; i < hours; ++i) {
        const double value = course.next();
        straight.add(course.now, value);
        straight.learn(course.now, value);
        moved.add(course.now + off, value);
        moved.learn(course.now + off, value);
      }
    };
    feed(15 * 24 + 2, Duration{});
    moved.shift(step);
    for (int h = 0; h < 24; ++h)
      EXPECT_NEAR(moved.daily_db(Time{std::chrono::hours{h}} + step), straight.daily_db(Time{std::chrono::hours{h}}), 1e-4);
    feed(5 * 24, step);
    for (int h = 0; h < 24; ++h)
      EXPECT_NEAR(moved.daily_db(Time{std::chrono::hours{h}} + step), straight.daily_db(Time{std::chrono::hours{h}}), 1e-3);
    EXPECT_NEAR(moved.level(), straight.level(), 1e-3);
    EXPECT_NEAR(moved.hour_sigma_db(), straight.hour_sigma_db(), 1e-3) << "the hour of the step is an hour";
  }
}

TEST(DailyRhythm, ArchiveGoesOnAlike) {
  DailyRhythm rhythm;
  Course course({.day_db = 2, .half_db = 1}, 11);
  course.feed(rhythm, 12 * 24 + 3);
  std::string bytes;
  ArchiveWriter writer(bytes);
  rhythm.archive(writer);
  DailyRhythm again;
  ArchiveReader reader(bytes);
  again.archive(reader);
  ASSERT_TRUE(reader.ok() && reader.at_end());
  for (int i = 0; i < 100; ++i) {
    const double value = course.next();
    for (DailyRhythm* each : {&rhythm, &again}) {
      each->add(course.now, value);
      each->learn(course.now, value);
    }
    ASSERT_EQ(rhythm.level(), again.level());
    ASSERT_EQ(rhythm.daily_db(course.now), again.daily_db(course.now));
    ASSERT_EQ(rhythm.hour_sigma_db(), again.hour_sigma_db());
    ASSERT_EQ(rhythm.correlation(), again.correlation());
    ASSERT_EQ(rhythm.hours(), again.hours());
  }
}

}  // namespace
}  // namespace fadeward::estimate::daily_rhythm_test
