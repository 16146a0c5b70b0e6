#include "fadeward/estimate/drift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "fadeward/estimate/trend.hpp"

namespace fadeward::estimate {

namespace {

using Values = std::span<const double>;

constexpr std::size_t kNeighbours = 3;  ///< of each side, for the running median
constexpr double kWild = 2;             ///< deviations from the running median
constexpr double kShortestSlope = 21;   ///< shorter ones cannot be told from weather
constexpr double kLonger = 1.2;
constexpr double kShortestFlat = 5;
constexpr double kShortestRamp = 7;
constexpr double kLevelledLead = 2;    ///< as kStepLead
constexpr std::size_t kLeastSide = 5;  ///< values on each side of a step
constexpr double kStepGain = 16;       ///< squares explained, in units of noise: four sigma
constexpr double kStepLead = 2;        ///< by which a step must beat a slope
constexpr int kMostSteps = 8;
constexpr double kWorthTesting = 2;  ///< standard errors; below, p stays 1
constexpr double kPriorPoints = 80;  ///< weight of the usual memory

double running_median(Values values, std::size_t i) {
  const std::size_t from = i > kNeighbours ? i - kNeighbours : 0;
  const std::size_t to = std::min(values.size(), i + kNeighbours + 1);
  std::array<double, 2 * kNeighbours + 1> near{};
  const auto end = std::copy(values.begin() + static_cast<std::ptrdiff_t>(from),
                             values.begin() + static_cast<std::ptrdiff_t>(to), near.begin());
  const auto middle = near.begin() + static_cast<std::ptrdiff_t>((to - from) / 2);
  std::nth_element(near.begin(), middle, end);
  return *middle;
}

struct Calmed {
  std::vector<double> values;
  double deviation;  ///< about the running median
};

Calmed calmed(Values values, double least_deviation) {
  std::vector<double> middle(values.size()), distance(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    middle[i] = running_median(values, i);
    distance[i] = std::abs(values[i] - middle[i]);
  }
  std::vector<double> order = distance;
  const auto half = order.begin() + static_cast<std::ptrdiff_t>(order.size() / 2);
  std::nth_element(order.begin(), half, order.end());
  Calmed out{{}, std::max(least_deviation, 1.4826 * *half)};
  const double most = kWild * out.deviation;
  for (std::size_t i = 0; i < values.size(); ++i)
    out.values.push_back(std::clamp(values[i], middle[i] - most, middle[i] + most));
  return out;
}

struct Hinge {
  double since = 0;
  double base = 0;
  double slope = 0;
  double residual_sum = std::numeric_limits<double>::infinity();
  double mean_x = 0;
  double spread_x = 0;  ///< sum of squares of x about its mean
};

/// Values on min(time, end) - since, not below zero: level, slope until `end`, level. Sums about
/// the first value, without a division inside the loop: this is where the time goes.
Hinge hinge_at(Values times, Values values, double since, double end) {
  const auto n = static_cast<double>(times.size());
  const double centre = values.front();
  double x_sum = 0, y_sum = 0, xx_sum = 0, xy_sum = 0, yy_sum = 0;
  for (std::size_t i = 0; i < times.size(); ++i) {
    const double x = std::max(0.0, std::min(times[i], end) - since), y = values[i] - centre;
    x_sum += x;
    y_sum += y;
    xx_sum += x * x;
    xy_sum += x * y;
    yy_sum += y * y;
  }
  const double mean_x = x_sum / n, mean_y = y_sum / n;
  const double xx = xx_sum - n * mean_x * mean_x, xy = xy_sum - n * mean_x * mean_y;
  const double yy = yy_sum - n * mean_y * mean_y;
  if (!(xx > 0)) return {};
  const double slope = xy / xx;
  return {since, centre + mean_y - slope * mean_x, slope, std::max(0.0, yy - slope * xy), mean_x,
          xx};
}

Hinge best_hinge(Values times, Values values) {
  const double last = times.back();
  Hinge best = hinge_at(times, values, times.front(), last);
  for (double length = kShortestSlope; last - length > times.front(); length *= kLonger) {
    const Hinge here = hinge_at(times, values, last - length, last);
    if (here.residual_sum < best.residual_sum) best = here;
  }
  return best;
}

/// Squares left by the best slope that came to its end before the last value.
double best_levelled(Values times, Values values) {
  double best = std::numeric_limits<double>::infinity();
  const double last = times.back();
  for (double flat = kShortestFlat; last - flat > times.front(); flat *= kLonger)
    for (double length = kShortestRamp; last - flat - length > times.front(); length *= kLonger)
      best =
          std::min(best, hinge_at(times, values, last - flat - length, last - flat).residual_sum);
  return best;
}

struct Step {
  std::size_t first_after = 0;
  double residual_sum = std::numeric_limits<double>::infinity();
  double flat_sum = 0;  ///< about one mean
};

Step best_step(Values values) {
  const auto n = static_cast<double>(values.size());
  double mean = 0;
  for (const double value : values) mean += value / n;
  Step out;
  for (const double value : values) out.flat_sum += (value - mean) * (value - mean);
  double sum = 0;
  for (std::size_t i = 0; i + kLeastSide < values.size(); ++i) {
    sum += values[i] - mean;
    if (i + 1 < kLeastSide) continue;
    const double before = static_cast<double>(i + 1);
    const double left = out.flat_sum - sum * sum * n / (before * (n - before));
    if (left < out.residual_sum) {
      out.residual_sum = left;
      out.first_after = i + 1;
    }
  }
  return out;
}

/// Variance of the residuals times their memory, the usual memory counting as so many points.
double noise_of(Values times, Values values, const Hinge& hinge, const UsualNoise& usual) {
  std::vector<double> left(values.size());
  double zero = 0;
  for (std::size_t i = 0; i < left.size(); ++i) {
    left[i] = values[i] - hinge.base - hinge.slope * std::max(0.0, times[i] - hinge.since);
    zero += left[i] * left[i];
  }
  const auto n = static_cast<double>(left.size());
  double memory = 1;
  for (std::size_t lag = 1; zero > 0 && lag < left.size() / 3; ++lag) {
    double product = 0;
    for (std::size_t i = lag; i < left.size(); ++i) product += left[i] * left[i - lag];
    const double correlation = product / zero;
    if (correlation < 1 / std::sqrt(n)) break;
    memory += 2 * correlation;
  }
  memory = (n * std::max(memory, 1.0) + kPriorPoints * usual.memory) / (n + kPriorPoints);
  return std::max(usual.deviation * usual.deviation, zero / (n - 3)) * memory;
}

/// Over the slope and as much of the level before it.
double corrected_p(Values times, Values values, double since) {
  const double from = since - (times.back() - since);
  const auto first = std::ranges::lower_bound(times, from) - times.begin();
  const Values kept = values.subspan(static_cast<std::size_t>(first));
  const MannKendall plain = mann_kendall(kept);
  MannKendall corrected = mann_kendall_autocorrelated(kept);
  corrected.variance = std::max(corrected.variance, plain.variance);
  return corrected.p();
}

Drift drift_of(Values times, Values values, const Hinge& hinge, double noise, double calm_noise) {
  Drift out;
  const double x = times.back() - hinge.since;
  const auto n = static_cast<double>(times.size());
  out.slope = hinge.slope;
  out.level = hinge.base + hinge.slope * x;
  out.since = hinge.since;
  out.record_from = times.front();
  out.slope_variance = noise / hinge.spread_x;
  out.covariance = (x - hinge.mean_x) * out.slope_variance;
  out.level_variance = noise / n + (x - hinge.mean_x) * out.covariance;
  if (std::abs(out.z()) < kWorthTesting) return out;
  out.levelled = hinge.residual_sum - best_levelled(times, values) > kLevelledLead * calm_noise;
  out.p = corrected_p(times, values, hinge.since);
  return out;
}

}  // namespace

double Drift::z() const { return slope_variance > 0 ? slope / std::sqrt(slope_variance) : 0; }

std::optional<Drift> find_drift(Values times, Values values, const UsualNoise& usual) {
  if (times.size() != values.size() || times.size() < kLeastDriftPoints) return {};
  const Calmed calm = calmed(values, usual.deviation);
  Values y = calm.values;
  const double calm_noise = calm.deviation * calm.deviation * usual.memory;
  for (int steps = 0; steps <= kMostSteps && times.size() >= kLeastDriftPoints; ++steps) {
    const Hinge hinge = best_hinge(times, y);
    const Step step = best_step(y);
    const bool stepped = step.flat_sum - step.residual_sum > kStepGain * calm_noise &&
                         hinge.residual_sum - step.residual_sum > kStepLead * calm_noise;
    if (!stepped) return drift_of(times, y, hinge, noise_of(times, y, hinge, usual), calm_noise);
    times = times.subspan(step.first_after);
    y = y.subspan(step.first_after);
  }
  return {};
}

}  // namespace fadeward::estimate
