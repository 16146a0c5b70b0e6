// Known truth: levels that wander from hour to hour, made here, with what is done to them.
#include "fadeward/judge/swing.hpp"

#include <gtest/gtest.h>

#include <numbers>

#include "unit/judge/invented_hours.hpp"

namespace fadeward::judge::swing_test {
namespace {

using test::InventedHours;

/// Told of levels about -60 dB whose rhythm is known and has no swing.
struct Grown {
  Cause cause;
  double hour, amplitude_db;
};
std::optional<Grown> first_grown(InventedHours& hours, int days) {
  SwingWatch::Rhythms rhythms;
  HourBook book;
  SwingWatch watch;
  for (int h = 0; h < days * 24; ++h) {
    hours.fill(book, 1);
    for (estimate::DailyRhythm& rhythm : rhythms) rhythm.add(book.back(0).end, -60);
    for (const auto& swing : watch.look(book, rhythms, static_cast<std::uint32_t>(h)))
      if (swing && swing->grown) return Grown{swing->cause, hours.count, swing->amplitude_db};
  }
  return {};
}

TEST(Swing, NothingGrowsInWhatOnlyWanders) {
  int told = 0;
  constexpr unsigned kWorlds = 20;
  for (unsigned seed = 1; seed <= kWorlds; ++seed) {
    InventedHours hours(seed);
    told += first_grown(hours, 30).has_value();
  }
  EXPECT_LE(told, 1) << "seeds 1.." << kWorlds;
}

TEST(Swing, ASwingThatGrowsIsToldWithItsSizeAndCause) {
  const std::pair<std::size_t, Cause> cases[] = {
      {0, Cause::path}, {2, Cause::near_noise}, {3, Cause::far_noise}};
  for (const auto& [which, cause] : cases)
    for (unsigned seed = 1; seed <= 5; ++seed) {
      InventedHours hours(seed);
      hours.added = [which = which](std::size_t stream, double hour) {
        const double size_db = std::clamp(4 * (hour - 240) / 108, 0.0, 4.0);
        return stream == which ? size_db * std::cos(2 * std::numbers::pi * hour / 24) : 0.0;
      };
      const auto told = first_grown(hours, 16);
      ASSERT_TRUE(told) << name_of(cause) << ", seed " << seed;
      EXPECT_EQ(told->cause, cause) << "seed " << seed;
      EXPECT_GT(told->hour, 240) << "seed " << seed;
      EXPECT_LT(told->amplitude_db, 4) << "seed " << seed;
    }
}

TEST(Swing, OneDayAloneIsNoSwing) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    InventedHours hours(seed);
    hours.added = [](std::size_t stream, double hour) {
      const bool that_day = hour >= 240 && hour < 264;
      return stream == 0 && that_day ? 6 * std::cos(2 * std::numbers::pi * hour / 24) : 0.0;
    };
    EXPECT_FALSE(first_grown(hours, 14)) << "seed " << seed;
  }
}

TEST(Swing, UnknownHoursAreNoEvidence) {
  HourBook book;
  SwingWatch watch;
  const SwingWatch::Rhythms rhythms;
  for (int h = 0; h < 200; ++h) book.push({});
  for (const auto& swing : watch.look(book, rhythms, 200)) EXPECT_FALSE(swing);
}

}  // namespace
}  // namespace fadeward::judge::swing_test
