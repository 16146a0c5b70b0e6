#include "fadeward/estimate/trend.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <map>
#include <numbers>
#include <utility>
#include <vector>

#include "fadeward/estimate/median.hpp"

namespace fadeward::estimate {

namespace {

double sign(double x) { return (x > 0) - (x < 0); }

std::vector<double> thinned(std::span<const double> values) {
  const std::size_t step = (values.size() + kMostTrendPoints - 1) / kMostTrendPoints;
  std::vector<double> out;
  for (std::size_t i = 0; i < values.size(); i += std::max<std::size_t>(step, 1))
    out.push_back(values[i]);
  return out;
}

/// n(n-1)(2n+5)/18, less the same for each group of ties.
double variance_without_trend(std::vector<double> values) {
  const auto term = [](double n) { return n * (n - 1) * (2 * n + 5) / 18; };
  std::ranges::sort(values);
  double variance = term(static_cast<double>(values.size()));
  for (std::size_t i = 0; i < values.size();) {
    std::size_t end = i;
    while (end < values.size() && values[end] == values[i]) ++end;
    variance -= term(static_cast<double>(end - i));
    i = end;
  }
  return variance;
}

MannKendall test_of(const std::vector<double>& values) {
  MannKendall out;
  for (std::size_t i = 0; i < values.size(); ++i)
    for (std::size_t j = i + 1; j < values.size(); ++j) out.s += sign(values[j] - values[i]);
  const auto n = static_cast<double>(values.size());
  out.pairs = n * (n - 1) / 2;
  if (values.size() > 1) out.variance = std::max(0.0, variance_without_trend(values));
  return out;
}

/// Points in order of time, so that the sign of a pair is that of its slope.
void collect_slopes(const std::vector<double>& times, const std::vector<double>& values,
                    std::vector<double>& slopes) {
  for (std::size_t i = 0; i < times.size(); ++i)
    for (std::size_t j = i + 1; j < times.size(); ++j)
      if (times[j] != times[i]) slopes.push_back((values[j] - values[i]) / (times[j] - times[i]));
}

/// Value at a rank (1: lowest) that need not be whole, held to the ends.
double at_rank(std::vector<double>& slopes, double rank) {
  rank = std::clamp(rank, 1.0, static_cast<double>(slopes.size()));
  const double whole = std::floor(rank);
  const auto place = slopes.begin() + static_cast<std::ptrdiff_t>(whole) - 1;
  std::nth_element(slopes.begin(), place, slopes.end());
  if (rank == whole) return *place;
  return *place + (rank - whole) * (*std::min_element(place + 1, slopes.end()) - *place);
}

SenSlope slope_of(std::vector<double>& slopes, double variance_of_s, double confidence) {
  const auto n = static_cast<double>(slopes.size());
  const double kept = std::clamp(confidence, 0.0, 0.999999);
  const double z = boost::math::quantile(boost::math::normal{}, 0.5 + kept / 2);
  const double width = z * std::sqrt(std::max(0.0, variance_of_s));
  SenSlope out;
  out.low = at_rank(slopes, (n - width) / 2);
  out.high = at_rank(slopes, (n + width) / 2 + 1);
  out.slope = at_rank(slopes, (n + 1) / 2);
  return out;
}

std::vector<double> ranks_of(const std::vector<double>& values) {
  std::vector<std::size_t> order(values.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::ranges::sort(order, {}, [&](std::size_t i) { return values[i]; });
  std::vector<double> ranks(values.size());
  for (std::size_t i = 0; i < order.size();) {
    std::size_t end = i;
    while (end < order.size() && values[order[end]] == values[order[i]]) ++end;
    for (std::size_t k = i; k < end; ++k) ranks[order[k]] = static_cast<double>(i + end + 1) / 2;
    i = end;
  }
  return ranks;
}

/// What a first-order process would have, its correlation freed from what the fitted slope hides of
/// it (Marriott and Pope 1954 for a mean; (2 + 4 r)/n for a line, from memory). 0: no sign of one.
double first_order_factor(double first, double n) {
  if (!(first > 1 / std::sqrt(n))) return 0;
  const double freed = std::min(0.93, first + (2 + 4 * first) / n);
  return (1 + freed) / (1 - freed);
}

/// n/n* of Hamed and Rao from the ranks of the values without their slope.
double variance_factor(const std::vector<double>& values, double slope) {
  std::vector<double> flat = values;
  for (std::size_t i = 0; i < flat.size(); ++i) flat[i] -= slope * static_cast<double>(i);
  const auto ranks = ranks_of(flat);
  const auto n = static_cast<double>(ranks.size());
  const double mean = (n + 1) / 2;
  double square = 0;
  for (const double rank : ranks) square += (rank - mean) * (rank - mean);
  if (!(square > 0)) return 1;
  const double significant = 1.959964 / std::sqrt(n);
  double sum = 0, first = 0;
  std::size_t lag = 1;
  for (; lag + 2 < ranks.size(); ++lag) {
    double product = 0;
    for (std::size_t i = lag; i < ranks.size(); ++i)
      product += (ranks[i] - mean) * (ranks[i - lag] - mean);
    const double correlation = product / square;
    if (lag == 1) first = correlation;
    const double left = n - static_cast<double>(lag);
    if (!(std::abs(correlation) > significant)) break;
    sum += left * (left - 1) * (left - 2) * correlation;
  }
  const double summed = 1 + 2 / (n * (n - 1) * (n - 2)) * sum;
  // Three lags that stand out show how the correlation falls; fewer do not.
  return lag > 3 ? summed : std::max(summed, first_order_factor(first, n));
}

std::vector<double> counted(std::size_t n) {
  std::vector<double> out(n);
  for (std::size_t i = 0; i < n; ++i) out[i] = static_cast<double>(i);
  return out;
}

struct Series {
  std::vector<double> times;
  std::vector<double> values;
};

Series in_order(std::span<const double> times, std::span<const double> values) {
  std::vector<std::size_t> order(times.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::ranges::stable_sort(order, {}, [&](std::size_t i) { return times[i]; });
  Series out;
  const std::size_t step =
      std::max<std::size_t>(1, (order.size() + kMostTrendPoints - 1) / kMostTrendPoints);
  for (std::size_t i = 0; i < order.size(); i += step) {
    out.times.push_back(times[order[i]]);
    out.values.push_back(values[order[i]]);
  }
  return out;
}

}  // namespace

double MannKendall::z() const { return variance > 0 ? (s - sign(s)) / std::sqrt(variance) : 0; }

double MannKendall::p() const { return std::erfc(std::abs(z()) / std::numbers::sqrt2); }

MannKendall mann_kendall(std::span<const double> values) { return test_of(thinned(values)); }

MannKendall mann_kendall_autocorrelated(std::span<const double> values) {
  const auto kept = thinned(values);
  MannKendall out = test_of(kept);
  if (kept.size() < 4) return out;
  std::vector<double> slopes;
  collect_slopes(counted(kept.size()), kept, slopes);
  // Strong negative correlation may bring the estimated factor to zero or below.
  constexpr double kLeast = 0.01;
  out.variance *= std::max(kLeast, variance_factor(kept, at_rank(slopes, (out.pairs + 1) / 2)));
  return out;
}

std::optional<SenSlope> theil_sen(std::span<const double> times, std::span<const double> values,
                                  double confidence, std::optional<double> variance_of_s) {
  if (times.size() != values.size()) return {};
  const Series series = in_order(times, values);
  std::vector<double> slopes;
  collect_slopes(series.times, series.values, slopes);
  if (slopes.empty()) return {};
  return slope_of(slopes, variance_of_s.value_or(variance_without_trend(series.values)),
                  confidence);
}

namespace {

struct Season {
  int name = 0;
  Series points;
};

double pairs_of(const std::vector<Season>& seasons, std::size_t step) {
  double pairs = 0;
  for (const Season& one : seasons) {
    const auto n = static_cast<double>((one.points.times.size() + step - 1) / step);
    pairs += n * (n - 1) / 2;
  }
  return pairs;
}

/// Each in order of time, thinned until the pairs of all are no more than those of one long series.
std::vector<Season> seasons_of(std::span<const int> names, std::span<const double> times,
                               std::span<const double> values) {
  std::map<int, Series> by_name;
  for (std::size_t i = 0; i < names.size(); ++i) {
    by_name[names[i]].times.push_back(times[i]);
    by_name[names[i]].values.push_back(values[i]);
  }
  std::vector<Season> out;
  for (auto& [name, all] : by_name) out.push_back({name, in_order(all.times, all.values)});
  constexpr double kMostPairs = kMostTrendPoints * (kMostTrendPoints - 1) / 2.0;
  std::size_t step = 1;
  while (step < kMostTrendPoints && pairs_of(out, step) > kMostPairs) ++step;
  if (step == 1) return out;
  for (Season& one : out) {
    Series kept;
    for (std::size_t i = 0; i < one.points.times.size(); i += step) {
      kept.times.push_back(one.points.times[i]);
      kept.values.push_back(one.points.values[i]);
    }
    one.points = std::move(kept);
  }
  return out;
}

/// By how much neighbours that resemble each other raise the variance of the sum over the seasons:
/// correlations of what is left without slope and season, in order of time, as far as they stand
/// out, and no less than those of a first-order process.
double neighbours_factor(const std::vector<Season>& seasons, double slope) {
  struct Left {
    double time;
    int season;
    double value;
  };
  std::vector<Left> left;
  for (const Season& one : seasons) {
    std::vector<double> flat = one.points.values;
    for (std::size_t i = 0; i < flat.size(); ++i) flat[i] -= slope * one.points.times[i];
    std::vector<double> sorted = flat;
    const double middle = median_of(sorted);
    for (std::size_t i = 0; i < flat.size(); ++i)
      left.push_back({one.points.times[i], one.name, flat[i] - middle});
  }
  std::ranges::sort(left, {}, [](const Left& one) { return std::pair(one.time, one.season); });
  std::vector<double> values;
  for (const Left& one : left) values.push_back(one.value);
  const auto ranks = ranks_of(values);
  const auto n = static_cast<double>(ranks.size());
  const auto correlation = [&](std::size_t lag) {
    double product = 0, square = 0;
    for (std::size_t i = 0; i < ranks.size(); ++i) {
      const double away = ranks[i] - (n + 1) / 2;
      square += away * away;
      if (i >= lag) product += away * (ranks[i - lag] - (n + 1) / 2);
    }
    return square > 0 ? product / square : 0;
  };
  // One deviation: two would overlook what a few years can hardly show.
  const double least = 1 / std::sqrt(n);
  double sum = 0;
  for (std::size_t lag = 1; lag < 12 && lag + 2 < ranks.size(); ++lag) {
    const double r = correlation(lag);
    if (!(r > least)) break;
    sum += r;
  }
  const double first = std::min(0.9, correlation(1));
  const double simple = first > least ? (1 + first) / (1 - first) : 1;
  return std::max({1.0, 1 + 2 * sum, simple});
}

}  // namespace

std::optional<SeasonalKendall> seasonal_kendall(std::span<const int> names,
                                                std::span<const double> times,
                                                std::span<const double> values, double confidence,
                                                bool neighbours) {
  if (names.size() != times.size() || times.size() != values.size()) return {};
  const auto seasons = seasons_of(names, times, values);
  SeasonalKendall out;
  std::vector<double> slopes;
  double sum_z = 0, sum_z_square = 0;
  for (const Season& one : seasons) {
    const std::size_t before = slopes.size();
    collect_slopes(one.points.times, one.points.values, slopes);
    if (slopes.size() == before) continue;
    const MannKendall part = test_of(one.points.values);
    out.test.s += part.s;
    out.test.variance += part.variance;
    out.test.pairs += part.pairs;
    const double z = part.variance > 0 ? part.s / std::sqrt(part.variance) : 0;
    sum_z += z;
    sum_z_square += z * z;
    ++out.seasons;
  }
  if (slopes.empty()) return {};
  out.heterogeneity = sum_z_square - sum_z * sum_z / static_cast<double>(out.seasons);
  if (neighbours) {
    const double middle = at_rank(slopes, (static_cast<double>(slopes.size()) + 1) / 2);
    out.test.variance *= neighbours_factor(seasons, middle);
  }
  out.slope = slope_of(slopes, out.test.variance, confidence);
  return out;
}

}  // namespace fadeward::estimate
