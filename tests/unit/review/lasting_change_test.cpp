// Invented days with known truth: leaves, weather that forgets within days, steps and slow losses.
#include "fadeward/review/lasting_change.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

#include "fadeward/review/review.hpp"

namespace fadeward::review::lasting_change_test {
namespace {

using std::chrono::days;

const Time kStart{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}};

struct Moves {
  double in_db = 0, out_db = 0, near_db = 0, far_db = 0;  ///< signals and noises
};

using Days = std::array<std::vector<SpanRow>, kDirections>;

/// `moves` gives what is added on each day, by its number.
Days make_days(int count, unsigned seed, const std::function<Moves(int)>& moves) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  Days out;
  double weather_db = 0;
  for (int i = 0; i < count; ++i) {
    weather_db = 0.6 * weather_db + 0.4 * normal(random);
    const Time at = kStart + days{i};
    const std::chrono::year_month_day date = std::chrono::floor<days>(at);
    const double of_year = static_cast<double>(
        (std::chrono::floor<days>(at) - std::chrono::sys_days{date.year() / 1 / 1}).count());
    const double leaves_db = 4 / (1 + std::exp(-(of_year - 125) / 5)) / (1 + std::exp((of_year - 285) / 5));
    const Moves more = moves(i);
    for (std::size_t d = 0; d < kDirections; ++d) {
      SpanRow row;
      row.from = at;
      row.to = at + days{1};
      row.quarters = 96;
      row.frames = 1000;
      row.signal_dbm = -100 - leaves_db + weather_db + 0.15 * normal(random) + (d == 0 ? more.in_db : more.out_db);
      row.noise_dbm = -113 + 0.25 * normal(random) + (d == 0 ? more.near_db : more.far_db);
      row.margin_db = *row.signal_dbm - *row.noise_dbm + 7.5;
      out[d].push_back(row);
    }
  }
  return out;
}

std::vector<LastingChange> changes_of(const Days& rows) { return lasting_changes({&rows[0], &rows[1]}); }

double day_of(Time at) { return duration_to_seconds(at - kStart) / 86400; }

TEST(LastingChange, LeavesWeatherAndASlowLossAreNone) {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    const Days rows = make_days(1826, seed, [](int i) {
      const double lost_db = -1.0 * i / 365;
      return Moves{lost_db, lost_db, 0, 0};
    });
    EXPECT_EQ(changes_of(rows).size(), 0u) << "seed " << seed;
  }
}

// Path, antenna of the site, a transmitter, noise of the gateway: each alone, on some day.
TEST(LastingChange, AStepIsFoundOnItsDayWithItsSizeAndCause) {
  const struct {
    Moves size;
    Cause cause;
  } cases[] = {{{-3, -3, 0, 0}, Cause::path},
               {{-3, -3, 0, -1.5}, Cause::far_antenna},
               {{-2, 0, 0, 0}, Cause::far_transmit},
               {{0, 0, 3, 0}, Cause::near_noise}};
  int within = 0, all = 0;
  for (unsigned seed = 1; seed <= 6; ++seed)
    for (const auto& one : cases) {
      const int at = 300 + static_cast<int>(seed) * 170;
      const Days rows =
          make_days(1826, seed, [&](int i) { return i >= at ? one.size : Moves{}; });
      const auto found = changes_of(rows);
      ASSERT_EQ(found.size(), 1u) << "seed " << seed << ", " << name_of(one.cause);
      EXPECT_LE(std::abs(day_of(found[0].middle()) - at), 3) << "seed " << seed;
      EXPECT_EQ(likely_cause(found[0]), one.cause) << "seed " << seed;
      const std::pair<std::optional<estimate::Shift>, double> sizes[] = {
          {found[0].levels.signal[0], one.size.in_db},
          {found[0].levels.signal[1], one.size.out_db},
          {found[0].levels.noise[0], one.size.near_db},
          {found[0].levels.noise[1], one.size.far_db}};
      for (const auto& [shift, truth] : sizes) {
        ASSERT_TRUE(shift);
        EXPECT_NEAR(shift->difference, truth, 0.5) << "seed " << seed;
        within += shift->low <= truth && truth <= shift->high;
        ++all;
      }
    }
  EXPECT_GE(within, all * 85 / 100) << "intervals of 95 %";
}

TEST(LastingChange, ASlowOneHasItsBeginAndEnd) {
  const Days rows = make_days(1826, 5, [](int i) {
    const double share = std::clamp((i - 900) / 90.0, 0.0, 1.0);
    return Moves{-4 * share, -4 * share, 0, -2 * share};
  });
  const auto found = changes_of(rows);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_TRUE(found[0].slow());
  EXPECT_NEAR(day_of(found[0].from), 900, 12);
  EXPECT_NEAR(day_of(found[0].to), 990, 12);
  EXPECT_NEAR(found[0].levels.signal[0]->difference, -4, 0.5);
}

TEST(LastingChange, WithoutItTheMarginIsWhatItWas) {
  const Days rows = make_days(1826, 8, [](int i) { return i >= 800 ? Moves{-3, -3, 0, 0} : Moves{}; });
  const Days same = make_days(1826, 8, [](int) { return Moves{}; });
  const auto taken_out = without_changes(rows[0], 0, changes_of(rows));
  double most = 0;
  for (std::size_t i = 0; i < taken_out.size(); ++i)
    if (i < 797 || i > 803)
      most = std::max(most, std::abs(*taken_out[i].margin_db - *same[0][i].margin_db));
  EXPECT_LT(most, 0.5);
}

TEST(LastingChange, AYearCannotTellLeavesFromThePath) {
  const Days rows = make_days(300, 3, [](int i) { return i >= 150 ? Moves{0, 0, 0, 3} : Moves{}; });
  const auto found = changes_of(rows);
  ASSERT_EQ(found.size(), 1u) << "the noise, not the leaves";
  EXPECT_EQ(likely_cause(found[0]), Cause::far_noise);
  EXPECT_NEAR(day_of(found[0].middle()), 150, 3);
}

TEST(LastingChange, LittleOrNothingIsNoRecord) {
  EXPECT_TRUE(lasting_changes({nullptr, nullptr}).empty());
  const Days few = make_days(40, 1, [](int i) { return i >= 20 ? Moves{-9, -9, 0, 0} : Moves{}; });
  EXPECT_TRUE(changes_of(few).empty());
  Days empty_values = make_days(800, 1, [](int) { return Moves{}; });
  for (auto& rows : empty_values)
    for (SpanRow& row : rows) row.margin_db.reset();
  EXPECT_TRUE(changes_of(empty_values).empty());
}

}  // namespace
}  // namespace fadeward::review::lasting_change_test
