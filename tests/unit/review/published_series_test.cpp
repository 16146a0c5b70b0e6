// The review's seasons, comparisons and slopes on series that others have published and worked out.
//
// Monthly series become days that hold the value of their month. Our season is no decomposition: it
// compares a time of the year with the opposite time before and after it. So what is compared with
// the seasonal figures of a decomposition are their differences between two times of the year.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <numeric>
#include <random>

#include "fadeward/estimate/change_point.hpp"
#include "fadeward/estimate/median.hpp"
#include "fadeward/estimate/trend.hpp"
#include "fadeward/history/month.hpp"
#include "fadeward/history/store.hpp"
#include "fadeward/review/long_trend.hpp"
#include "fadeward/review/season.hpp"
#include "support/temp_dir.hpp"
#include "support/valley_years.hpp"
#include "support/standard_csv.hpp"

namespace fadeward::review::published_series_test {
namespace {

using test::read_csv;
using std::chrono::days;
using test::date;

std::vector<double> column(const std::string& file, const std::string& name) {
  std::vector<double> out;
  for (auto& row : read_csv(file)) out.push_back(row.at(name));
  return out;
}

// ---- daily medians that come out of the store --------------------------------------------------

/// A quarter hour whose frames lie in the two cells of half a decibel about `median_db`, in the
/// proportion that makes it their median to 0.0025 dB.
Bin bin_of(Time at, double median_db) {
  constexpr int kFrames = 100;
  const double low = std::floor(median_db * 2 + 1e-9) / 2;
  const auto upper = static_cast<std::uint16_t>(std::lround((median_db - low) * 2 * kFrames));
  Bin bin;
  bin.start = at;
  bin.frames = kFrames;
  bin.margin.add(low, static_cast<std::uint16_t>(kFrames - upper));
  if (upper > 0) bin.margin.add(low + 0.5, upper);
  return bin;
}

/// A whole day with this median; two quarter hours in three stand 4 dB above or below it.
void write_day(history::Batch& batch, Time day, double median_db) {
  for (int quarter = 0; quarter < 96; ++quarter) {
    const double away = quarter % 3 == 0 ? 4 : quarter % 3 == 1 ? -4 : 0;
    batch.bins.push_back(
        {"weir", Direction::inbound, bin_of(day + quarter * kBinSpan, median_db + away)});
  }
}

Digest read_back(const std::string& dir) {
  auto reader = std::move(history::Reader::open(dir)).value();
  const auto extent = reader.extent();
  return digest(reader, "weir", Direction::inbound, extent->first, extent->second);
}

std::vector<double> margins_of_rows(const std::vector<SpanRow>& rows) {
  std::vector<double> out;
  for (const SpanRow& row : rows) out.push_back(*row.margin_db);
  return out;
}

// US EPA, Unified Guidance (EPA 530/R-09-007, 2009), example 17-6: 23 samples of sulfate, here a
// twentieth of them in decibels, on days that lie apart as their dates (written 89.6, 89.8, 90.1
// ...) do with 360 days to 1.0. Figures of the example as in the public package EnvStats 3.1.
TEST(PublishedSeries, EpaExample17_6FromTheStore) {
  const auto dates = column("standards/epa2009_ex17_6_sulfate_mann_kendall.csv", "Sampling.Date");
  const auto sulfate = column("standards/epa2009_ex17_6_sulfate_mann_kendall.csv", "Sulfate.ppm");
  const Time first = date(2031, 1, 1);
  const test::TempDir dir;
  auto store = std::move(history::Store::open(dir / "h", {})).value();
  for (std::size_t i = 0; i < dates.size(); ++i) {
    history::Batch batch;
    write_day(batch, first + days{std::lround((dates[i] - dates[0]) * 360)}, sulfate[i] / 20);
    ASSERT_TRUE(store->write(batch));
  }
  // Packed, and the first years rolled up into hours.
  for (int turn = 0; turn < 2000 && *store->tidy(first + days{3000}); ++turn) {
  }
  ASSERT_TRUE(store->close());
  const Digest found = read_back(dir / "h");
  ASSERT_EQ(found.days.size(), dates.size());
  const auto margins = margins_of_rows(found.days);
  std::vector<double> times;
  for (const SpanRow& row : found.days)
    times.push_back(duration_to_seconds(row.from - first) / 86400 / 360);
  for (std::size_t i = 0; i < margins.size(); ++i)
    EXPECT_NEAR(margins[i] * 20, sulfate[i], 0.0025 * 20 + 1e-9);

  const auto test = estimate::mann_kendall(margins);
  EXPECT_EQ(test.s, 194);
  EXPECT_EQ(test.variance, 1428);
  EXPECT_NEAR(test.z(), 5.107322, 5e-7);
  EXPECT_NEAR(test.p(), 3.267574e-07, 5e-13);
  const auto slope = estimate::theil_sen(times, margins);
  ASSERT_TRUE(slope);
  EXPECT_NEAR(slope->slope * 20, 26.6666667, 5e-7);
  EXPECT_NEAR(slope->low * 20, 20.0, 5e-6);
  EXPECT_NEAR(slope->high * 20, 35.71182, 5e-6);
}

// Same guidance, examples 14-8 and 14-10: twelve months of three years, here ten days of each month
// with ten times the concentration in decibels.
TEST(PublishedSeries, EpaExample14_8FromTheStore) {
  const auto values = column("standards/epa2009_ex14_8_seasonal_kendall.csv", "Unadj.Conc");
  const test::TempDir dir;
  auto store = std::move(history::Store::open(dir / "h", {})).value();
  for (std::size_t i = 0; i < values.size(); ++i) {
    const Time month = date(2031 + static_cast<int>(i / 12), static_cast<unsigned>(i % 12 + 1), 1);
    history::Batch batch;
    for (int day = 0; day < 10; ++day) write_day(batch, month + days{day}, values[i] * 10);
    ASSERT_TRUE(store->write(batch));
  }
  ASSERT_TRUE(store->close());
  const Digest found = read_back(dir / "h");
  ASSERT_EQ(found.months.size(), values.size());
  std::vector<int> seasons;
  std::vector<double> years;
  for (const SpanRow& row : found.months) {
    seasons.push_back(static_cast<int>(history::month_of(row.from).month));
    years.push_back(history::month_of(row.from).year);
  }
  const auto kendall = estimate::seasonal_kendall(seasons, years, margins_of_rows(found.months));
  ASSERT_TRUE(kendall);
  EXPECT_EQ(kendall->test.s, 35);
  EXPECT_NEAR(kendall->test.variance, 43, 1e-9);
  EXPECT_NEAR(kendall->test.z(), 5.1849514, 5e-8);
  EXPECT_NEAR(kendall->slope.slope / 10, 0.06, 1e-9);
  EXPECT_NEAR(kendall->slope.low / 10, 0.05786914, 5e-9);
  EXPECT_NEAR(kendall->slope.high / 10, 0.07213086, 5e-9);
  // The review tells that slope; months that resemble their neighbours may only widen its interval.
  const LongTrend trend = long_trend(found.days, found.months, {});
  ASSERT_TRUE(trend.season_known);
  EXPECT_NEAR(*trend.db_per_year / 10, 0.06, 1e-9);
  EXPECT_LE(trend.low, kendall->slope.low + 1e-9);
  EXPECT_GE(trend.high, kendall->slope.high - 1e-9);
  EXPECT_LT(trend.p, 0.05);
}

// ---- seasons -----------------------------------------------------------------------------------

/// Each day of a monthly series that begins in January of `year`.
std::vector<SpanRow> days_of_months(const std::vector<double>& values, int year) {
  std::vector<SpanRow> out;
  const Time end = date(year + static_cast<int>(values.size() / 12), 1, 1);
  for (Time day = date(year, 1, 1); day < end; day += days{1}) {
    const history::Month month = history::month_of(day);
    SpanRow row;
    row.from = day;
    row.to = day + days{1};
    row.quarters = 96;
    row.margin_db = values[static_cast<std::size_t>(month.year - year) * 12 + month.month - 1];
    out.push_back(row);
  }
  return out;
}

std::vector<SpanRow> months_of(const std::vector<double>& values, int year) {
  std::vector<SpanRow> out;
  for (std::size_t i = 0; i < values.size(); ++i) {
    SpanRow row;
    row.from = date(year + static_cast<int>(i / 12), static_cast<unsigned>(i % 12 + 1), 1);
    row.quarters = 2880;
    row.margin_db = values[i];
    out.push_back(row);
  }
  return out;
}

/// One month of the year, from 1 on, against the month opposite to it.
LeafSeason month_against_opposite(unsigned month) {
  const auto next = [](unsigned of) { return of % 12 + 1; };
  const unsigned opposite = (month + 5) % 12 + 1;
  return {{month, 1}, {next(month), 1}, {opposite, 1}, {next(opposite), 1}};
}

/// Differences of the years that have a bare season on both sides.
std::vector<double> differences_of(const std::vector<SpanRow>& rows, const LeafSeason& season) {
  std::vector<double> out;
  for (const LeafYear& one : leaf_years(rows, season))
    if (one.both_sides) out.push_back(one.margin.difference);
  return out;
}

double mean_of(const std::vector<double>& values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

double standard_error_of(const std::vector<double>& values) {
  const double mean = mean_of(values);
  double square = 0;
  for (const double value : values) square += (value - mean) * (value - mean);
  const auto n = static_cast<double>(values.size());
  return std::sqrt(square / (n - 1) / n);
}

// CO2 at Mauna Loa: each month less the opposite one, over 38 years, against the seasonal figures
// of R's stl(s.window = "periodic"). Tolerance 0.12 ppm of up to 5: stl smooths the trend over 19
// months where ours draws a line over twelve, the growth is not even within a year (0.1 ppm of
// curvature between), and the season itself grew by a tenth over these years.
TEST(PublishedSeries, Co2MonthByMonth) {
  const auto rows = days_of_months(column("classic/co2.csv", "value"), 1959);
  const auto reference = column("classic/co2_stl_periodic_seasonal_ref.csv", "seasonal");
  ASSERT_EQ(reference.size(), 12u);
  for (unsigned month = 1; month <= 12; ++month) {
    const auto found = differences_of(rows, month_against_opposite(month));
    ASSERT_GE(found.size(), 37u) << month;
    EXPECT_NEAR(mean_of(found), reference[month - 1] - reference[(month + 5) % 12], 0.12) << month;
  }
}

// The spring of CO2 against its autumn, three months each: 2.581 - (-2.057) ppm by the same
// reference.
TEST(PublishedSeries, Co2SeasonOfThreeMonths) {
  const auto rows = days_of_months(column("classic/co2.csv", "value"), 1959);
  const auto reference = column("classic/co2_stl_periodic_seasonal_ref.csv", "seasonal");
  const double spring = (reference[3] + reference[4] + reference[5]) / 3;
  const double autumn = (reference[9] + reference[10] + reference[11]) / 3;
  const LeafSeason season{{4, 1}, {7, 1}, {10, 1}, {1, 1}};
  const auto found = differences_of(rows, season);
  ASSERT_GE(found.size(), 37u);
  EXPECT_NEAR(mean_of(found), spring - autumn, 0.12);
  // Values that stand still for a month know little of one season, and say so.
  int held = 0, years = 0;
  for (const LeafYear& one : leaf_years(rows, season)) {
    if (!one.both_sides) continue;
    ++years;
    held += one.margin.low <= spring - autumn && spring - autumn <= one.margin.high;
  }
  EXPECT_GE(held, 0.9 * years);
}

// R's lm(co2 ~ t + (t - mean t)^2 + two harmonics): 1.3105181 ppm a year in the middle. The slope
// of all pairs of years with the season out is that of the middle where the growth bends evenly
// (tolerance 2 %: pairs of distant years are fewer). The years' growth, day by day
// against the year before, adds up to what lies between the means of the first and the last year
// (tolerance 0.02: medians of twelve differences for their means).
TEST(PublishedSeries, Co2GrowthWithTheSeasonOut) {
  const auto values = column("classic/co2.csv", "value");
  const auto rows = days_of_months(values, 1959);
  const LongTrend trend = long_trend(rows, months_of(values, 1959), {});
  ASSERT_TRUE(trend.season_known);
  EXPECT_NEAR(*trend.db_per_year, 1.3105181, 0.02 * 1.3105181);
  EXPECT_LT(trend.p, 1e-6);
  std::vector<double> growth;
  for (int year = 1960; year < 1998; ++year) {
    const auto found =
        compare_with_year_before({&rows, nullptr}, "", date(year, 1, 1), date(year + 1, 1, 1));
    ASSERT_TRUE(found.margin[0]) << year;
    growth.push_back(found.margin[0]->difference);
  }
  const auto year_mean = [&](std::size_t year) {
    return std::accumulate(values.begin() + static_cast<std::ptrdiff_t>(year * 12),
                           values.begin() + static_cast<std::ptrdiff_t>(year * 12 + 12), 0.0) /
           12;
  };
  EXPECT_NEAR(mean_of(growth), (year_mean(38) - year_mean(0)) / 38, 0.02);
}

// Nottingham: R's lm(nottem ~ sin + cos of the year): 49.0396 - 1.3905 sin - 11.4733 cos degrees,
// t = 0 the middle of January here as its first value stands for the whole month. The same
// differences of that curve over our four months of summer and of winter; winters differ, so two
// standard errors of the mean of 19 years, and they must be small enough to tell.
TEST(PublishedSeries, NottinghamSummerAgainstWinter) {
  const auto rows = days_of_months(column("classic/nottem.csv", "value"), 1920);
  const auto curve = [](unsigned month) {
    const double angle = 2 * std::numbers::pi * (month - 1) / 12;
    return 49.0395833 - 1.3905399 * std::sin(angle) - 11.4733253 * std::cos(angle);
  };
  const LeafSeason season{{6, 1}, {10, 1}, {12, 1}, {4, 1}};
  const double summer = (curve(6) + curve(7) + curve(8) + curve(9)) / 4;
  const double winter = (curve(12) + curve(1) + curve(2) + curve(3)) / 4;
  const auto found = differences_of(rows, season);
  ASSERT_GE(found.size(), 18u);
  const double error = standard_error_of(found);
  EXPECT_LT(error, 0.5);
  EXPECT_NEAR(mean_of(found), summer - winter, 2 * error);
}

// Month by month against the mean of all Januaries less that of all Julys and so on, which needs no
// model: 20 years of a station without much of a trend. 0.35 degrees: we take each January against
// the Julys on both sides of it, so the first and the last half year do not count.
TEST(PublishedSeries, NottinghamMonthByMonth) {
  const auto values = column("classic/nottem.csv", "value");
  const auto rows = days_of_months(values, 1920);
  std::array<double, 12> means{};
  for (std::size_t i = 0; i < values.size(); ++i) means[i % 12] += values[i] / 20;
  for (unsigned month = 1; month <= 12; ++month)
    EXPECT_NEAR(mean_of(differences_of(rows, month_against_opposite(month))),
                means[month - 1] - means[(month + 5) % 12], 0.35)
        << month;
}

// Nottingham's seasonal Kendall test: S 224 as in the help of the public R package trend (smk.test,
// from memory); its variance, ties included, is that of S over years in random order.
TEST(PublishedSeries, NottinghamSeasonalKendall) {
  const auto values = column("classic/nottem.csv", "value");
  std::vector<int> seasons;
  std::vector<double> years;
  std::array<std::vector<double>, 12> by_month;
  for (std::size_t i = 0; i < values.size(); ++i) {
    seasons.push_back(static_cast<int>(i % 12));
    years.push_back(static_cast<double>(i / 12));
    by_month[i % 12].push_back(values[i]);
  }
  const auto found = estimate::seasonal_kendall(seasons, years, values);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->test.s, 224);
  EXPECT_EQ(found->test.pairs, 12 * 190) << "all of twenty years";
  std::mt19937 random(22);
  constexpr int kOrders = 3000;
  double square = 0;
  for (int order = 0; order < kOrders; ++order) {
    double s = 0;
    for (auto& month : by_month) {
      std::ranges::shuffle(month, random);
      for (std::size_t i = 0; i < month.size(); ++i)
        for (std::size_t j = i + 1; j < month.size(); ++j)
          s += (month[j] > month[i]) - (month[j] < month[i]);
    }
    square += s * s / kOrders;
  }
  // Four standard errors of a variance from 3000 orders.
  EXPECT_NEAR(found->test.variance / square, 1, 4 * std::sqrt(2.0 / kOrders)) << "seed 22";
}

// ---- before against after ----------------------------------------------------------------------

estimate::DailyValues years_between(const std::string& file, double from, double to) {
  estimate::DailyValues out;
  for (auto& row : read_csv(file))
    if (row.at("time") >= from && row.at("time") < to) out.add(row.at("time"), row.at("value"));
  return out;
}

// The Nile broke after 1898: means 1097.75 and 849.97 (Cobb 1978; Zeileis and others 2003).
TEST(PublishedSeries, NileBeforeAndAfterTheDam) {
  const auto shift = estimate::find_shift(years_between("standards/nile.csv", 1871, 1899),
                                          years_between("standards/nile.csv", 1899, 1971));
  ASSERT_TRUE(shift);
  EXPECT_EQ(shift->before, 28u);
  EXPECT_EQ(shift->after, 72u);
  EXPECT_LE(shift->low, 849.97 - 1097.75);
  EXPECT_GE(shift->high, 849.97 - 1097.75);
  // The t interval of two means of 28 and 72 with the residual deviation 128 is 114 wide.
  EXPECT_LT(shift->high - shift->low, 1.5 * 114);
  EXPECT_LT(shift->p, 1e-6);
}

// Car drivers killed or seriously injured: belts were compulsory from 31 January 1983. R's
// strucchange puts a break after January 1983. Harvey and Durbin (1986) found 23 % fewer (from
// memory) for the two years after.
TEST(PublishedSeries, BeltsBeforeAndAfter) {
  const auto drivers = column("classic/ukdriverdeaths.csv", "value");
  ASSERT_EQ(drivers.size(), 192u);
  const std::size_t law = (1983 - 1969) * 12 + 1;  // February 1983
  // Each month against the same month a year before: the season drops out.
  estimate::DailyValues differences;
  for (std::size_t i = law; i < law + 12; ++i)
    differences.add(static_cast<double>(i), std::log(drivers[i] / drivers[i - 12]));
  const auto shift = estimate::find_paired_shift(differences);
  ASSERT_TRUE(shift);
  EXPECT_LE(shift->low, std::log(1 - 0.23));
  EXPECT_GE(shift->high, std::log(1 - 0.23));
  EXPECT_LT(shift->high, 0);
  EXPECT_LT(shift->p, 0.01);
  // The years before: nothing of the kind.
  for (std::size_t back = 12; back <= 60; back += 12) {
    estimate::DailyValues earlier;
    for (std::size_t i = law - back; i < law - back + 12; ++i)
      earlier.add(static_cast<double>(i), std::log(drivers[i] / drivers[i - 12]));
    EXPECT_GT(estimate::find_paired_shift(earlier)->difference, shift->high) << back;
  }
  // And the place of the break, in the differences of the last six years.
  std::vector<double> last;
  for (std::size_t i = 10 * 12; i < law + 12; ++i)
    last.push_back(std::log(drivers[i] / drivers[i - 12]));
  const auto change = estimate::find_change_point(last, 0.05);
  ASSERT_TRUE(change);
  EXPECT_EQ(10 * 12 + change->last_before, law - 1) << "the last month before is January 1983";
}

// R's wilcox.test(Ozone ~ Month), May against August, with continuity and ties: p 0.0001208. Ours
// leaves ties out of the variance, which they make smaller by less than 1 %.
TEST(PublishedSeries, OzoneInMayAndAugust) {
  estimate::DailyValues may, august;
  for (auto& row : read_csv("classic/airquality_may_august.csv")) {
    estimate::DailyValues& month = row.at("month") == 5 ? may : august;
    // Far apart: the published test takes the days as independent.
    month.add(1000 * row.at("month") + 100 * row.at("day"), row.at("ozone_ppb"));
  }
  const auto shift = estimate::find_shift(may, august);
  ASSERT_TRUE(shift);
  EXPECT_DOUBLE_EQ(shift->memory, 1);
  EXPECT_NEAR(std::log(shift->p), std::log(0.0001208), 0.05);
  EXPECT_GT(shift->low, 0);
}

// ---- slopes with memory ------------------------------------------------------------------------

// Lake Huron 1875-1972: R's arima(order = (2, 0, 0)) with a line: -0.0216 feet a year, standard
// error 0.0081. The slope of independent years would be four times as sure.
TEST(PublishedSeries, LakeHuronFalls) {
  const auto times = column("classic/lakehuron.csv", "time");
  const auto levels = column("classic/lakehuron.csv", "value");
  const auto test = estimate::mann_kendall_autocorrelated(levels);
  const auto slope = estimate::theil_sen(times, levels, 0.95, test.variance);
  ASSERT_TRUE(slope);
  EXPECT_NEAR(slope->slope, -0.0216, 0.0081);
  EXPECT_LE(slope->low, -0.0216);
  EXPECT_GE(slope->high, -0.0216);
  const double published = 2 * 1.96 * 0.0081;
  EXPECT_GT(slope->high - slope->low, 0.6 * published);
  EXPECT_LT(slope->high - slope->low, 1.7 * published);
}

}  // namespace
}  // namespace fadeward::review::published_series_test
