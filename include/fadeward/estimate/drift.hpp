// A drift that lasts until now: a level that held, then a straight slope to the last value.
#pragma once

#include <optional>
#include <span>

namespace fadeward::estimate {

/// What is assumed of the noise about a drift before the series itself tells. A short series hides
/// how slow its noise is; these values stand in for it and fade with its length.
struct UsualNoise {
  double deviation = 0.3;  ///< never taken to be smaller than this, in units of the values
  double memory = 6;       ///< 1 + 2 * sum of the autocorrelations
};

struct Drift {
  double slope = 0;        ///< per unit of time
  double level = 0;        ///< of the fitted line at the last time
  double since = 0;        ///< where the slope begins
  double record_from = 0;  ///< where the record used begins: after the last step of the level
  /// Variances and covariance of slope and level, the memory of the noise included.
  double slope_variance = 0;
  double level_variance = 0;
  double covariance = 0;
  /// Mann-Kendall, corrected for autocorrelation, over the slope and as much of the level before
  /// it; the correction never makes it smaller. 1 where |z| is below two.
  double p = 1;
  bool levelled = false;  ///< a slope that has come to its end explains the values better
  double z() const;       ///< slope / its standard error; the best of several places: ask for 4
};

/// Least squares of values = level before + slope * max(0, time - since) with `since` on a grid of
/// lengths, each a fifth longer than the one before, and the whole record. Single wild values are
/// pulled to their neighbours first. Where a step of the mean explains the record better than a
/// slope, everything up to the step is left out and the rest judged anew, so that a step is never
/// taken for a drift once a few values stand on its far side. `times` rise, one unit apart but for
/// gaps. Empty for fewer than `kLeastDriftPoints` values since the last step, or lengths that
/// differ. Work grows with n * (log n + places); a thousand values take well under a millisecond.
std::optional<Drift> find_drift(std::span<const double> times, std::span<const double> values,
                                const UsualNoise& usual = {});

inline constexpr std::size_t kLeastDriftPoints = 14;

}  // namespace fadeward::estimate
