// How often the intervals of the review hold the truth: leaves, before against after, the same days
// of two years, and the slope, on daily values of invented links.
//
//   truth_seasons [--worlds N] [--seed FIRST] [--only TEXT] [--check]
//
// Prints one row per group: answers, share whose 95 % interval holds the truth, mean error and root
// mean square error of the estimate, median half width of the interval. With --check it fails where
// that share, three standard errors of the trial allowed for, lies outside of 0.90 to 0.99, or an
// answer is missing that should be there. Seeds below 1000 are for tuning, those from 5000 on for
// reporting.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <map>
#include <numeric>
#include <optional>
#include <random>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/history/month.hpp"
#include "fadeward/review/long_trend.hpp"
#include "fadeward/review/season.hpp"
#include "support/valley_years.hpp"

namespace fadeward::truth {

namespace {

using review::SpanRow;
using std::chrono::days;
using test::date;

constexpr double kYearDays = 365.25;

/// An invented link. Its weather is that of one site: 0.6 dB that forgets within `memory_days`,
/// rain of up to 2 dB on one day in twelve, and what a wet summer or a frost leaves for weeks.
struct Link {
  Time from = date(2031, 1, 1), to = date(2035, 4, 1);
  double memory_days = 2;
  double slow_db = 0;      ///< deviation of a second weather that forgets within 25 days
  double leaves_db = 4;    ///< taken away by leaves at their full
  double db_per_year = 0;  ///< beside it
  double step_db = 0;      ///< from `step_at` on
  Time step_at{};
  double missing_share = 0;  ///< of the days, single ones
  int missing_weeks = 0;     ///< so many weeks in a row without a day, at random places
};

double years_since(Time from, Time at) {
  return duration_to_seconds(at - from) / (kYearDays * 86400);
}

std::vector<SpanRow> days_of(const Link& link, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> chance;
  const auto kept = [](double memory) { return memory > 0 ? std::exp(-1 / memory) : 0; };
  const double fast = kept(link.memory_days), slow = kept(25);
  double weather = normal(random), weeks = normal(random);
  const auto count = (link.to - link.from) / days{1};
  std::vector<bool> missing(static_cast<std::size_t>(count));
  for (int i = 0; i < link.missing_weeks; ++i) {
    const auto first = random() % missing.size();
    for (std::size_t k = first; k < std::min(first + 7, missing.size()); ++k) missing[k] = true;
  }
  std::vector<SpanRow> out;
  for (std::size_t i = 0; i < missing.size(); ++i) {
    weather = fast * weather + std::sqrt(1 - fast * fast) * normal(random);
    weeks = slow * weeks + std::sqrt(1 - slow * slow) * normal(random);
    const double rain = chance(random) < 1.0 / 12 ? 2 * chance(random) : 0;
    if (chance(random) < link.missing_share || missing[i]) continue;
    SpanRow row;
    row.from = link.from + days{i};
    row.to = row.from + days{1};
    row.quarters = 96;
    row.margin_db = 20 + 0.6 * weather + link.slow_db * weeks - rain -
                    link.leaves_db * test::ValleyYears::foliage(row.from) +
                    link.db_per_year * years_since(link.from, row.from) +
                    (row.from >= link.step_at ? link.step_db : 0);
    out.push_back(row);
  }
  return out;
}

/// As the digest has them, but that a month's median is one of days, not of frames.
std::vector<SpanRow> months_of(const std::vector<SpanRow>& rows) {
  std::vector<SpanRow> out;
  std::vector<double> values;
  for (std::size_t i = 0; i < rows.size();) {
    const history::Month month = history::month_of(rows[i].from);
    SpanRow sum;
    sum.from = month.begin();
    sum.to = month.end();
    values.clear();
    for (; i < rows.size() && history::month_of(rows[i].from) == month; ++i) {
      sum.quarters += rows[i].quarters;
      values.push_back(*rows[i].margin_db);
    }
    std::ranges::nth_element(values,
                             values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2));
    sum.margin_db = values[values.size() / 2];
    out.push_back(sum);
  }
  return out;
}

struct Answer {
  double truth = 0, found = 0, low = 0, high = 0;
};
using Answers = std::vector<Answer>;

struct Group {
  std::string name;
  Link link;
  std::function<Answers(const Link&, const std::vector<SpanRow>&)> ask;
  std::size_t answers = 1;  ///< that each world must give
  double least = 0.90, most = 0.99;
};

Answer of_shift(double truth, const estimate::Shift& shift) {
  return {truth, shift.difference, shift.low, shift.high};
}

Answers ask_leaves(const Link& link, const std::vector<SpanRow>& rows) {
  Answers out;
  for (const review::LeafYear& one : review::leaf_years(rows))
    out.push_back(of_shift(-link.leaves_db, one.margin));
  return out;
}

/// A month before against a month after, the day of the change on neither side, as for an alert.
Answers ask_before_after(const Link& link, const std::vector<SpanRow>& rows, days window) {
  const auto found = review::compare({&rows, nullptr}, "", link.step_at - window, link.step_at,
                                     link.step_at + days{1}, link.step_at + days{1} + window);
  if (!found.margin[0]) return {};
  const double apart = years_since(link.step_at, link.step_at + window + days{1});
  return {of_shift(link.step_db + link.db_per_year * apart, *found.margin[0])};
}

Answers ask_year_before(const Link& link, const std::vector<SpanRow>& rows) {
  const auto found =
      review::compare_with_year_before({&rows, nullptr}, "", link.step_at, link.step_at + days{60});
  if (!found.margin[0]) return {};
  return {of_shift(link.step_db + link.db_per_year, *found.margin[0])};
}

Answers ask_slope(const Link& link, const std::vector<SpanRow>& rows) {
  const auto found = review::long_trend(rows, months_of(rows), {});
  if (!found.db_per_year) return {};
  return {{link.db_per_year, *found.db_per_year, found.low, found.high}};
}

std::vector<Group> all_groups() {
  std::vector<Group> out;
  const auto add = [&](std::string name, Link link, auto ask, std::size_t answers = 1) {
    out.push_back({std::move(name), link, ask, answers});
  };
  // Half of the weather's slow part lasts for longer than the sixty or 120 days that are compared:
  // they cannot show it, and no interval from them alone is as wide as it should be.
  const auto add_slow = [&](std::string name, Link link, auto ask, std::size_t answers = 1) {
    link.slow_db = 0.4;
    out.push_back({std::move(name), link, ask, answers, 0.80});
  };
  // ---- leaves ----
  add("leaves, four years", {}, ask_leaves, 4);
  add("leaves, independent days", {.memory_days = 0}, ask_leaves, 4);
  add("leaves, weather of five days", {.memory_days = 5}, ask_leaves, 4);
  add_slow("leaves, wet summers", {}, ask_leaves, 4);
  add("leaves, a third of the days", {.missing_share = 0.67}, ask_leaves, 4);
  add("leaves, weeks missing", {.missing_share = 0.1, .missing_weeks = 60}, ask_leaves, 4);
  add("leaves beside a slow loss", {.db_per_year = -2}, ask_leaves, 4);
  add("leaves beside a fast loss", {.db_per_year = -5}, ask_leaves, 4);
  add("leaves of half a decibel", {.leaves_db = 0.5}, ask_leaves, 4);
  add("no leaves", {.leaves_db = 0}, ask_leaves, 4);
  add("leaves, one winter only", {.from = date(2031, 1, 1), .to = date(2031, 10, 1)}, ask_leaves);
  add("leaves, a later winter only", {.from = date(2031, 6, 1), .to = date(2032, 4, 1)},
      ask_leaves);
  add("leaves, six weeks of winter", {.from = date(2031, 2, 10), .to = date(2031, 10, 1)},
      ask_leaves);
  // ---- before against after ----
  const auto near = [](days window) {
    return [window](const Link& link, const std::vector<SpanRow>& rows) {
      return ask_before_after(link, rows, window);
    };
  };
  const Link stepped{.step_db = -3, .step_at = date(2033, 7, 10)};
  const auto with = [&](auto change) {
    Link link = stepped;
    change(link);
    return link;
  };
  add("thirty days", stepped, near(days{30}));
  add("thirty days, independent", with([](Link& l) { l.memory_days = 0; }), near(days{30}));
  add("thirty days, weather of five", with([](Link& l) { l.memory_days = 5; }), near(days{30}));
  add("thirty days, some missing", with([](Link& l) { l.missing_share = 0.3; }), near(days{30}));
  add("thirty days, none", with([](Link& l) { l.step_db = 0; }), near(days{30}));
  add("thirty days beside a slow loss", with([](Link& l) { l.db_per_year = -2; }), near(days{30}));
  add("ten days", stepped, near(days{10}));
  add("a hundred days", with([](Link& l) { l.leaves_db = 0; }), near(days{100}));
  // ---- the same days of two years ----
  add("same days", with([](Link& l) { l.step_at = date(2033, 9, 20); }), ask_year_before);
  add("same days, weather of five", with([](Link& l) { l.memory_days = 5; }), ask_year_before);
  add_slow("same days, wet summers", stepped, ask_year_before);
  add("same days, a third of them", with([](Link& l) { l.missing_share = 0.4; }), ask_year_before);
  add("same days, beside a slow loss", with([](Link& l) { l.db_per_year = -2; }), ask_year_before);
  // ---- the slope ----
  const auto slope = [&](std::string name, Link link) {
    link.db_per_year = -1.5;
    add("slope, " + std::move(name), link, ask_slope);
  };
  slope("five years", {.to = date(2036, 1, 1)});
  slope("five years, independent", {.to = date(2036, 1, 1), .memory_days = 0});
  slope("five years, weather of five", {.to = date(2036, 1, 1), .memory_days = 5});
  slope("five years, wet summers", {.to = date(2036, 1, 1), .slow_db = 0.4});
  slope("five years, days missing",
        {.to = date(2036, 1, 1), .missing_share = 0.3, .missing_weeks = 60});
  slope("ten years", {.to = date(2041, 1, 1)});
  slope("ten years, wet summers", {.to = date(2041, 1, 1), .slow_db = 0.4});
  slope("three years", {.to = date(2034, 1, 1)});
  slope("three years, wet summers", {.to = date(2034, 1, 1), .slow_db = 0.4});
  slope("two years and a half", {.to = date(2033, 7, 1)});
  slope("two years", {.to = date(2033, 1, 1)});
  slope("two years, wet summers", {.to = date(2033, 1, 1), .slow_db = 0.4});
  add("slope, five years of none", {.to = date(2036, 1, 1)}, ask_slope);
  // Before two years the season is unknown: without one the plain slope must be as honest.
  slope("a year without leaves", {.to = date(2032, 1, 1), .leaves_db = 0});
  slope("a year without leaves, weather of five",
        {.to = date(2032, 1, 1), .memory_days = 5, .leaves_db = 0});
  slope("ninety days", {.from = date(2031, 11, 20), .to = date(2032, 2, 18)});
  slope("forty days", {.from = date(2031, 11, 20), .to = date(2031, 12, 30)});
  return out;
}

struct Words {
  int worlds = 100;
  std::uint64_t seed = 5000;
  std::string only;
  bool check = false;
};

/// True where the group keeps what it promises.
bool run(const Group& group, const Words& words) {
  double held = 0, sum = 0, square = 0;
  std::vector<double> widths;
  std::size_t missing = 0;
  for (int world = 0; world < words.worlds; ++world) {
    const auto rows = days_of(group.link, words.seed + static_cast<std::uint64_t>(world));
    const Answers answers = group.ask(group.link, rows);
    missing += group.answers > answers.size() ? group.answers - answers.size() : 0;
    for (const Answer& one : answers) {
      held += one.low <= one.truth && one.truth <= one.high;
      sum += one.found - one.truth;
      square += (one.found - one.truth) * (one.found - one.truth);
      widths.push_back((one.high - one.low) / 2);
    }
  }
  const auto n = static_cast<double>(widths.size());
  const double share = n > 0 ? held / n : 0;
  std::ranges::sort(widths);
  const double allowed = n > 0 ? 3 * std::sqrt(0.95 * 0.05 / n) : 0;
  const bool good =
      n > 0 && missing == 0 && share >= group.least - allowed && share <= group.most + allowed;
  std::printf("%-42s %5.0f  held %.3f  bias %+.3f  rmse %.3f  half width %.3f%s%s\n",
              group.name.c_str(), n, share, n > 0 ? sum / n : 0, n > 0 ? std::sqrt(square / n) : 0,
              widths.empty() ? 0 : widths[widths.size() / 2],
              missing > 0 ? "  answers missing" : "", good ? "" : "  <-- outside");
  return good;
}

}  // namespace

int main_of(int argc, char** argv) {
  Words words;
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    const char* value = i + 1 < argc ? argv[i + 1] : nullptr;
    if (word == "--check") {
      words.check = true;
    } else if (value != nullptr && word == "--worlds") {
      words.worlds = std::clamp(std::atoi(argv[++i]), 1, 100'000);
    } else if (value != nullptr && word == "--seed") {
      words.seed = std::strtoull(argv[++i], nullptr, 10);
    } else if (value != nullptr && word == "--only") {
      words.only = argv[++i];
    } else {
      std::fprintf(stderr,
                   "usage: truth_seasons [--worlds N] [--seed FIRST] [--only TEXT] [--check]\n");
      return 2;
    }
  }
  std::printf("%d worlds from seed %llu\n", words.worlds,
              static_cast<unsigned long long>(words.seed));
  bool good = true;
  for (const Group& group : all_groups())
    if (group.name.find(words.only) != std::string::npos) good &= run(group, words);
  return good || !words.check ? 0 : 1;
}

}  // namespace fadeward::truth

int main(int argc, char** argv) { return fadeward::truth::main_of(argc, argv); }
