#include "fadeward/judge/threshold.hpp"

namespace fadeward::judge {

void Threshold::step(Level& level, std::optional<double> limit, double value,
                     const ThresholdSettings& settings, Worse worse, Time now) {
  if (!limit) {   // no longer configured
    level = {};
    return;
  }
  const double beyond = worse == Worse::below ? *limit - value : value - *limit;
  const bool turning = level.on ? beyond < -settings.clear_by : beyond > 0;
  if (!turning) {
    level.turning_since.reset();
    return;
  }
  if (!level.turning_since) level.turning_since = now;
  if (now - *level.turning_since < settings.hold) return;
  level.on = !level.on;
  level.onset = level.on ? level.turning_since : std::nullopt;
  level.turning_since.reset();
}

Severity Threshold::update(std::optional<double> value, const ThresholdSettings& settings, Worse worse,
                           Time now) {
  if (value) {
    Level& warning = levels_[0];
    Level& critical = levels_[1];
    step(warning, settings.warning, *value, settings, worse, now);
    const Level before = critical;
    step(critical, settings.critical, *value, settings, worse, now);
    // On the way out of both levels there is no stop at "warning": they end together.
    const bool both_ending = before.on && !critical.on && warning.on && warning.turning_since;
    if (both_ending && settings.critical) critical = before;
  }
  return severity();
}

Severity Threshold::severity() const {
  if (levels_[1].on) return Severity::critical;
  return levels_[0].on ? Severity::warning : Severity::none;
}

std::optional<Time> Threshold::onset() const {
  if (levels_[0].on) return levels_[0].onset;
  return levels_[1].onset;
}

void Threshold::restart_timers() {
  for (Level& level : levels_) level.turning_since.reset();
}

void Threshold::shift(Duration step) {
  for (Level& level : levels_) {
    if (level.turning_since) *level.turning_since += step;
    if (level.onset) *level.onset += step;
  }
}

}  // namespace fadeward::judge
