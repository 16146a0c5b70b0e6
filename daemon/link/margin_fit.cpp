#include "fadeward/link/margin_fit.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

namespace {

using estimate::SurvivorBelief;

constexpr double kForgetPerHour = 0.96;  // about a day
constexpr double kMostPrecision = 400;   // of the logarithm of the deviation: 5 %
constexpr double kMostPrecisionPerHour = 20;
constexpr double kOneHour = 0.3;
constexpr double kReadBelowLimitDb =
    2;  // the lowest twentieth of what arrives is seldom read so low
constexpr double kFarBelowLimitDb = 4;
constexpr double kWideEnoughDb = 2;  // narrower levels show the readings' errors, not the limit
constexpr double kSharpnessShows = 0.08;  // share lost to the level
constexpr double kOtherPrecision = 100;   // of the other direction's
constexpr double kCollisionsForgetPerHour = 0.15;
constexpr double kBendsForgetPerHour = 0.005;

template <std::size_t N>
void mix(std::array<double, N>& belief, const std::array<double, N>& after,
         const std::array<double, N>& plain, double forget) {
  for (std::size_t i = 0; i < N; ++i) belief[i] = (1 - forget) * after[i] + forget * plain[i];
}

template <std::size_t N>
bool sums_to_one(const std::array<double, N>& shares) {
  double sum = 0;
  for (const double share : shares) sum += share >= 0 ? share : NAN;
  return std::abs(sum - 1) < 0.01;
}

}  // namespace

SurvivorBelief MarginFit::belief_for(const FitQuestion& question) const {
  SurvivorBelief belief = belief_;
  if (log_deviation_weight_ > 0) {
    belief.log_deviation = log_deviation_;
    belief.log_deviation_precision = std::min(log_deviation_weight_, kMostPrecision);
  } else if (question.other != nullptr && question.other->log_deviation_weight_ > 0) {
    // The path is the same: how widely and how unevenly it fades holds both ways.
    belief.bends = question.other->belief_.bends;
    belief.log_deviation = question.other->log_deviation_;
    belief.log_deviation_precision =
        std::min(question.other->log_deviation_weight_, kOtherPrecision);
  }
  belief.median_db = question.median_db;
  belief.median_precision = question.median_precision;
  return belief;
}

double MarginFit::limit_sd_db() const {
  double sum = 0;
  for (std::size_t i = 0; i < limits_.size(); ++i) sum += limits_[i] * kLimitSdDb[i];
  return sum;
}

double MarginFit::share_too_weak(double median_db, double deviation_db) const {
  double share = 0;
  for (std::size_t i = 0; i < belief_.bends.size(); ++i) {
    const double bend = SurvivorBelief::kBends[i];
    // Where the level is skewed its limit lies nearer to the median, in the normal's own measure.
    const double way = bend > 0 ? -std::expm1(-bend * median_db) / bend : median_db;
    share += belief_.bends[i] * 0.5 *
             std::erfc(way / (std::hypot(deviation_db, limit_sd_db()) * std::sqrt(2.0)));
  }
  return std::clamp(share, 0.0, 1.0);
}

std::optional<MarginFit::Fit> MarginFit::fit(const FrameWindow& window,
                                             const FitQuestion& question) const {
  return fit(window, question, limit_sd_db());
}

std::optional<MarginFit::Fit> MarginFit::fit(const FrameWindow& window, const FitQuestion& question,
                                             double limit_sd_db) const {
  estimate::LossModel model;
  // Where many arrive that by their margin could not, the required SNR is not what it is said to
  // be.
  model.limit_db =
      std::min(0.0, window.margin_quantile_db(0.05, false).value_or(0) + kReadBelowLimitDb);
  const double lowest_db = model.limit_db - kFarBelowLimitDb;  // a misreading
  estimate::SurvivorLevels levels;
  window.visit([&](const FrameSample& sample) {
    levels.add(
        std::max(sample.margin_cdb * 0.01, lowest_db),
        question.weighted ? static_cast<float>(sample.weight) / FrameWindow::kFullWeight : 1.0F);
  });
  levels.finish();
  model.reading_sd_db = question.reading_sd_db;
  model.limit_sd_db = limit_sd_db;
  std::optional<estimate::FrameCounts> counts;
  if (question.counted)
    counts = estimate::FrameCounts{static_cast<double>(window.frames()),
                                   static_cast<double>(window.lost())};
  return estimate::fit_survivors(levels, counts, model, belief_for(question));
}

std::optional<MarginFit::Fit> MarginFit::recent(const FrameWindow& window,
                                                const FitQuestion& question, Time now) {
  if (kept_ && now >= kept_at_ && now - kept_at_ < kKept) return kept_;
  kept_ = fit(window, question);
  kept_at_ = now;
  return kept_;
}

void MarginFit::learn(const Fit& fit, const FrameWindow& window, const FitQuestion& question) {
  if (!question.counted) return;
  if (fit.level_lost > kSharpnessShows && fit.deviation_db > kWideEnoughDb)
    learn_limit(window, question);
  mix(belief_.collisions, fit.collisions_after, SurvivorBelief::kPlainCollisions,
      kCollisionsForgetPerHour);
  learn_bends(fit.bends_after);
  // The fit already contains what was believed: what is new is the rest of its precision.
  const double before = std::min(log_deviation_weight_, kMostPrecision);
  const double precision = 1 / std::max(1e-4, fit.log_deviation_sd * fit.log_deviation_sd);
  const double fresh = precision - before;
  if (fresh < 1) {
    log_deviation_weight_ *= kForgetPerHour;
    return;
  }
  const double seen =
      (std::log(std::max(fit.deviation_db, 0.2)) * precision - log_deviation_ * before) / fresh;
  learn_log_deviation(seen, fresh);
}

void MarginFit::learn_limit(const FrameWindow& window, const FitQuestion& question) {
  std::array<double, 3> after{};
  double best = -1e300, sum = 0;
  for (std::size_t i = 0; i < after.size(); ++i) {
    const auto one = fit(window, question, kLimitSdDb[i]);
    if (!one) return;
    after[i] = kOneHour * one->log_evidence + std::log(std::max(limits_[i], 1e-4));
    best = std::max(best, after[i]);
  }
  for (double& share : after) sum += share = std::exp(std::max(share - best, -30.0));
  for (double& share : after) share /= sum;
  mix(limits_, after, kPlainLimits, kBendsForgetPerHour);
}

/// Hours are not independent of each other in what the model gets wrong: one counts as a part.
void MarginFit::learn_bends(const std::array<double, 4>& after) {
  std::array<double, 4> moved{};
  double sum = 0;
  for (std::size_t i = 0; i < moved.size(); ++i) {
    const double before = std::max(belief_.bends[i], 1e-6);
    sum += moved[i] = before * std::pow(std::max(after[i], 1e-6) / before, kOneHour);
  }
  for (double& share : moved) share /= sum;
  mix(belief_.bends, moved, SurvivorBelief::kPlainBends, kBendsForgetPerHour);
}

void MarginFit::learn_log_deviation(double seen, double precision) {
  const double weight = std::min(precision, kMostPrecisionPerHour);
  const double total = log_deviation_weight_ + weight;
  log_deviation_ =
      (log_deviation_ * log_deviation_weight_ + std::clamp(seen, -1.5, 2.5) * weight) / total;
  log_deviation_weight_ = kForgetPerHour * std::min(total, kMostPrecision);
}

/// Binomial, for losses that all are collisions.
void MarginFit::learn_collisions(double heard, double lost) {
  std::array<double, SurvivorBelief::kCollisions.size()> after{};
  double best = -1e300, sum = 0;
  for (std::size_t i = 0; i < after.size(); ++i) {
    const double share = std::max(SurvivorBelief::kCollisions[i], 0.002);
    after[i] = lost * std::log(share) + heard * std::log(1 - share) +
               std::log(std::max(1e-6, belief_.collisions[i]));
    best = std::max(best, after[i]);
  }
  for (double& share : after) sum += share = std::exp(std::max(share - best, -30.0));
  for (double& share : after) share /= sum;
  mix(belief_.collisions, after, SurvivorBelief::kPlainCollisions, kCollisionsForgetPerHour);
}

/// Deviation and skewness by moments.
void MarginFit::learn_shape(const FrameWindow& window) {
  double n = 0, sum = 0, square = 0, cube = 0;
  const double origin = window.margin_quantile_db(0.5, false).value_or(0);
  window.visit([&](const FrameSample& sample) {
    const double off = std::clamp(sample.margin_cdb * 0.01 - origin, -15.0, 15.0);
    n += 1;
    sum += off;
    square += off * off;
    cube += off * off * off;
  });
  if (n < 30) return;
  const double mean = sum / n, variance = square / n - mean * mean;
  constexpr double kReadingVariance = 0.6;
  const double own2 = std::max(0.2, variance - kReadingVariance), own = std::sqrt(own2);
  const double skewness =
      (cube / n - 3 * mean * square / n + 2 * mean * mean * mean) / (own2 * own);
  std::array<double, SurvivorBelief::kBends.size()> after{};
  double total = 0;
  for (std::size_t i = 0; i < after.size(); ++i) {
    const double off = skewness + 3 * SurvivorBelief::kBends[i] * own;
    total += after[i] =
        (belief_.bends[i] + 1e-6) * std::exp(std::max(-30.0, -off * off / (2 * (0.04 + 12 / n))));
  }
  for (double& share : after) share /= total;
  learn_bends(after);
  learn_log_deviation(0.5 * std::log(own2), n);
}

/// A state file is outside input.
void MarginFit::check() {
  if (!sums_to_one(belief_.collisions)) belief_.collisions = SurvivorBelief::kPlainCollisions;
  if (!sums_to_one(belief_.bends)) belief_.bends = SurvivorBelief::kPlainBends;
  if (!sums_to_one(limits_)) limits_ = kPlainLimits;
  if (!(std::abs(log_deviation_) < 5 && log_deviation_weight_ >= 0 && log_deviation_weight_ < 1e6))
    log_deviation_ = log_deviation_weight_ = 0;
}

}  // namespace fadeward::link
