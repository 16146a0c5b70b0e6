// Trends without assumptions about the distribution: Mann-Kendall, Theil-Sen, seasonal Kendall.
//
// Each call compares pairs of points. To bound it, a series of more than `kMostTrendPoints` is
// thinned first: only every k-th point is taken, with the smallest k that brings it under the
// limit. The seasonal test, which compares within seasons only, is held to as many pairs in all.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace fadeward::estimate {

inline constexpr std::size_t kMostTrendPoints = 200;

struct MannKendall {
  double s = 0;  ///< rising pairs minus falling pairs
  double variance =
      0;             ///< of s without a trend, ties and (where asked for) autocorrelation included
  double pairs = 0;  ///< pairs compared; s / pairs is Kendall's tau (a)
  /// (s - sign s) / sqrt(variance); 0 where the variance is 0.
  double z() const;
  /// Probability of |z| or more without a trend, both sides.
  double p() const;
};

/// The test in its ordinary form: independent values in order of time (Mann 1945; ties: Kendall
/// 1975). Fewer than two values: all zero.
MannKendall mann_kendall(std::span<const double> values);

/// The variance multiplied by n/n* for autocorrelated values (Hamed and Rao, Journal of Hydrology
/// 204, 1998), from the ranks of what is left after the Theil-Sen slope. Unlike there the sum ends
/// at the first lag that does not differ from zero at 5 %: long lags of a short series are chance,
/// and more often negative than not. Where fewer than three lags stand out it is no less than
/// that of a first-order process with the correlation of the first lag freed from its bias, if that
/// stands out by one deviation: few values hide their correlation. The values are taken as equally
/// spaced.
MannKendall mann_kendall_autocorrelated(std::span<const double> values);

/// Slope per unit of time, and the interval that holds it with the confidence asked for.
struct SenSlope {
  double slope = 0;
  double low = 0;
  double high = 0;
};

/// Median of the slopes of all pairs of different time (Theil 1950, Sen 1968); interval at the
/// ranks (N - C)/2 and (N + C)/2 + 1 of the N slopes, interpolated, with C = z sqrt(variance of s)
/// (Gilbert 1987; EPA 530/R-09-007, 2009, chapter 17). `variance_of_s` replaces that of independent
/// values. Empty without two different times or with spans of different length.
std::optional<SenSlope> theil_sen(std::span<const double> times, std::span<const double> values,
                                  double confidence = 0.95,
                                  std::optional<double> variance_of_s = {});

struct SeasonalKendall {
  MannKendall test;          ///< sums over the seasons
  SenSlope slope;            ///< of the slopes within seasons, pooled
  double heterogeneity = 0;  ///< chi-square with seasons - 1 degrees of freedom
  std::size_t seasons = 0;   ///< with at least two different times
};

/// Mann-Kendall within each season, summed (Hirsch, Slack, Smith 1982; EPA 2009 chapter 14): the
/// seasons may differ as they like. `seasons` names the season of each point by any number. Empty
/// where no season has two different times or the spans differ in length. `neighbours`: the
/// variance is raised by the memory from one season to the next (what a wet summer leaves for
/// months), taken from the ranks without slope and season in order of time and name, as for
/// mann_kendall_autocorrelated; every season of a time must then be there but for a few.
std::optional<SeasonalKendall> seasonal_kendall(std::span<const int> seasons,
                                                std::span<const double> times,
                                                std::span<const double> values,
                                                double confidence = 0.95, bool neighbours = false);

}  // namespace fadeward::estimate
