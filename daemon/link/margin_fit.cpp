#include "fadeward/link/margin_fit.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

namespace {

using estimate::SurvivorBelief;

constexpr Duration kKept = std::chrono::minutes{5};
constexpr double kReadingSdDb = 0.9;
constexpr double kForgetPerHour = 0.96;        // about a day
constexpr double kMostPrecision = 150;         // of the logarithm of the deviation: 8 %
constexpr double kOtherPrecision = 30;         // of the other direction's
constexpr double kCollisionsForgetPerHour = 0.15;

}  // namespace

SurvivorBelief MarginFit::belief_for(const FitQuestion& question) const {
  SurvivorBelief belief = belief_;
  if (log_deviation_weight_ > 0) {
    belief.log_deviation = log_deviation_;
    belief.log_deviation_precision = std::min(log_deviation_weight_, kMostPrecision);
  } else if (question.log_deviation) {
    belief.log_deviation = *question.log_deviation;
    belief.log_deviation_precision = kOtherPrecision;
  }
  belief.median_db = question.median_db;
  belief.median_precision = question.median_precision;
  return belief;
}

std::optional<MarginFit::Fit> MarginFit::fit(const FrameWindow& window, const FitQuestion& question) const {
  estimate::SurvivorLevels levels;
  window.visit([&](const FrameSample& sample) {
    levels.add(sample.margin_cdb * 0.01, question.weighted ? static_cast<float>(sample.weight) / FrameWindow::kFullWeight : 1.0F);
  });
  levels.finish();
  std::optional<estimate::FrameCounts> counts;
  if (question.counted)
    counts = estimate::FrameCounts{static_cast<double>(window.frames()), static_cast<double>(window.lost())};
  return estimate::fit_survivors(levels, counts, {}, belief_for(question));
}

std::optional<MarginFit::Fit> MarginFit::recent(const FrameWindow& window, const FitQuestion& question, Time now) {
  if (kept_ && now >= kept_at_ && now - kept_at_ < kKept) return kept_;
  kept_ = fit(window, question);
  kept_at_ = now;
  return kept_;
}

void MarginFit::learn(const Fit& fit, bool counted) {
  if (!counted) return;
  for (std::size_t i = 0; i < fit.collisions_after.size(); ++i)
    belief_.collisions[i] = (1 - kCollisionsForgetPerHour) * fit.collisions_after[i] +
                            kCollisionsForgetPerHour * SurvivorBelief::kPlainCollisions[i];
  // The fit already contains what was believed: what is new is the rest of its precision.
  const double before = std::min(log_deviation_weight_, kMostPrecision);
  const double precision = 1 / std::max(1e-4, fit.log_deviation_sd * fit.log_deviation_sd);
  const double fresh = std::max(precision - before, 0.0);
  log_deviation_ = std::log(std::max(fit.deviation_db, 0.2));
  log_deviation_weight_ = kForgetPerHour * std::min(before + fresh, kMostPrecision);
}

void MarginFit::learn_deviation(double deviation_db, std::uint32_t frames) {
  const double own2 = std::max(0.2, deviation_db * deviation_db - kReadingSdDb * kReadingSdDb);
  learn_log_deviation(0.5 * std::log(own2), 1.0 / std::max(1U, frames));
}

void MarginFit::learn_log_deviation(double log_deviation, double variance) {
  const double weight = std::min(1 / std::max(variance, 1e-3), 40.0);
  log_deviation_ = (log_deviation_ * log_deviation_weight_ + log_deviation * weight) / (log_deviation_weight_ + weight);
  log_deviation_weight_ = kForgetPerHour * std::min(log_deviation_weight_ + weight, kMostPrecision);
}

std::optional<double> MarginFit::log_deviation() const {
  if (log_deviation_weight_ <= 0) return {};
  return log_deviation_;
}

/// A state file is outside input.
void MarginFit::check() {
  double sum = 0;
  for (const double share : belief_.collisions) sum += share >= 0 ? share : NAN;
  if (!(sum > 0.5 && sum < 2)) belief_ = {};
  if (!(std::abs(log_deviation_) < 5 && log_deviation_weight_ >= 0 && log_deviation_weight_ < 1e6))
    log_deviation_ = log_deviation_weight_ = 0;
}

}  // namespace fadeward::link
