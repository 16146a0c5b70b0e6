#include "fadeward/link/path_margin.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::link {

namespace {

/// Where one frame in a hundred still has so much margin, lost ones were not lost to the level.
constexpr double kClearOfThresholdDb = 3.0;
constexpr double kDeadDb = -3.0;  // of a channel on which nearly nothing arrives, at most
constexpr double kClearWithoutCountsDb = 1.0;
constexpr double kCrossing = 1.4;  // see estimate::fit_survivors: variance of a median by errors
constexpr double kMedianOfSample = 1.5708;  // pi / 2
constexpr double kBorrowedNoiseVariance = 0.08;
constexpr double kDeadChannelsVariance = 0.03;  // how many frames went to them is itself estimated
constexpr double kStepErrorDb = 0.065;          // what is left of readings in whole decibels
constexpr double kFadingVariance = 0.02;  // of an hour's median: each direction fades for itself
constexpr double kShapeVariance = 0.07;   // what a truncated sample says wrong every hour alike
constexpr Duration kLearnClearEvery = std::chrono::hours{4};
constexpr double kFewLost = 0.003;
constexpr std::uint32_t kFewestToLearn = 60;

/// The middle of all frames among those that are not at the bottom.
double quantile_beside(double bottom_share) {
  return std::clamp((0.5 - bottom_share) / (1 - bottom_share), 0.01, 0.5);
}

}  // namespace

bool PathMargin::losses_follow_level(Direction d) const {
  const auto low = direction(d).window.margin_quantile_db(0.01, false);
  return low && *low < kClearOfThresholdDb;
}

bool PathMargin::counts_losses(Direction d) const {
  const LossSource source = direction(d).loss_source;
  return source == LossSource::seq || source == LossSource::counters;
}

/// Up to one in a hundred lost moves the median by less than its own uncertainty, and frames lost
/// while the weakest have margin are not missing among the low ones.
bool PathMargin::needs_fit(Direction d) const {
  const FrameWindow& window = direction(d).window;
  if (counts_losses(d)) return window.lost() * 99 >= window.frames() && losses_follow_level(d);
  const auto low = window.margin_quantile_db(0.03, false);
  return low && *low < kClearWithoutCountsDb;
}

/// Share of the frames sent that was lost on channels where nearly none arrives: the lowest of all.
std::optional<double> PathMargin::dead_share(Direction d) const {
  const DirectionState& state = direction(d);
  const FrameWindow& window = state.window;
  if (!counts_losses(d) || window.lost() * 49 < window.frames() || state.channels.size() == 0)
    return {};
  std::array<std::uint16_t, ChannelShares::kMost> heard{};
  window.visit([&](const FrameSample& sample) {
    if (sample.channel < heard.size()) ++heard[sample.channel];
  });
  const auto missing = state.channels.missing_on_dead(heard);
  if (!missing || *missing < 1) return {};
  const double lost = window.lost(), stands_for = static_cast<double>(window.frames()) /
                                                  static_cast<double>(window.samples());
  return std::min(*missing * stands_for, lost) / (lost + window.frames());
}

FitQuestion PathMargin::own_question(Direction d) const {
  FitQuestion question;
  question.counted = counts_losses(d);
  question.weighted = d == Direction::outbound;
  const Direction other = d == Direction::inbound ? Direction::outbound : Direction::inbound;
  question.other = &direction(other).margin_fit;
  question.reading_sd_db = reading_sd_db(d);
  return question;
}

/// Error of one margin. The noise that is read beside each frame scatters as its reading does; an
/// SNR has a scatter of its own.
double PathMargin::reading_sd_db(Direction d) const {
  const DirectionState& state = direction(d);
  const double noise_variance = state.window.noise_moments().variance_db2;
  if (state.noise_source == NoiseSource::idle)
    return std::sqrt(0.2 + 0.8 * std::clamp(noise_variance, 0.3, 1.4));
  return std::sqrt(0.08 + std::clamp(0.5 * noise_variance, 0.25, 1.0));
}

/// What a margin lies above the loss of the path.
double PathMargin::path_offset_db(Direction d) const {
  return direction(d).power_dbm.value_or(0) - direction(d).window.noise_moments().mean_dbm -
         direction(d).rules.required_snr_db;
}

/// Where a direction does not know its losses, the other one does. `now`: a fit of the minute will
/// do.
FitQuestion PathMargin::question(Direction d, std::optional<Time> now) const {
  FitQuestion question = own_question(d);
  const Direction other = d == Direction::inbound ? Direction::outbound : Direction::inbound;
  DirectionState& state = direction(other);
  if (question.counted || !reciprocal_.known() || state.window.empty() || !counts_losses(other))
    return question;
  const double sign = d == Direction::outbound ? 1 : -1;
  double median_db = 0, variance = 0;
  if (needs_fit(other)) {
    const FitQuestion own = own_question(other);
    const auto fit = now ? state.margin_fit.recent(state.window, own, *now)
                         : state.margin_fit.fit(state.window, own);
    if (!fit) return question;
    median_db = fit->median_db;
    variance = fit->median_sd_db * fit->median_sd_db;
  } else {
    median_db = *state.window.margin_median_db();
  }
  question.median_db =
      median_db - path_offset_db(other) + path_offset_db(d) + sign * reciprocal_.difference_db();
  question.median_precision =
      1 / (variance + reciprocal_.variance() + kFadingVariance + kShapeVariance);
  return question;
}

/// What the window of one direction teaches; returns the loss of its path, if it tells, and adds
/// its variance. `rest`: nothing but the losses are worth a look.
std::optional<double> PathMargin::learn_from(Direction d, Time last_report, bool rest,
                                             double& variance) {
  DirectionState& state = direction(d);
  const FrameWindow& window = state.window;
  if (window.frames() < kFewestToLearn || window.span(last_report) > FrameWindow::kSpan) return {};
  if (rest) {
    if (counts_losses(d) && window.lost() > 0)
      state.margin_fit.learn_collisions(window.frames(), window.lost());
    return {};
  }
  double median_db = *window.margin_median_db();
  if (needs_fit(d)) {
    const FitQuestion question = own_question(d);
    const auto fit = state.margin_fit.fit(window, question);
    if (!fit) return {};
    state.margin_fit.learn(*fit, window, question);
    median_db = fit->median_db;
    variance += fit->median_sd_db * fit->median_sd_db;
  } else {
    if (counts_losses(d)) state.margin_fit.learn_collisions(window.frames(), window.lost());
    state.margin_fit.learn_shape(window);
  }
  return median_db - path_offset_db(d);
}

void PathMargin::learn(Time hour, Time last_report) {
  const bool clear = !needs_fit(Direction::inbound) && !needs_fit(Direction::outbound);
  const bool rest = clear && hour.time_since_epoch() % kLearnClearEvery != Duration{};
  double variance = 2 * kFadingVariance;
  const auto in_db = learn_from(Direction::inbound, last_report, rest, variance);
  const auto out_db = learn_from(Direction::outbound, last_report, rest, variance);
  if (in_db && out_db) reciprocal_.add(*out_db - *in_db, variance);
}

std::optional<double> PathMargin::received_db(Direction d, Time now) {
  FrameWindow& window = direction(d).window;
  window.expire(now);
  return window.margin_quantile_db(0.5, false);
}

std::optional<double> PathMargin::median_db(Direction d, Time now) {
  DirectionState& state = direction(d);
  state.window.expire(now);
  if (state.window.empty()) return {};
  const bool few = counts_losses(d) && state.window.lost() * 99 < state.window.frames();
  if (few || state.margin_fit.lately_clear(now)) return state.window.margin_quantile_db(0.5, false);
  if (!needs_fit(d)) {
    if (const auto dead = dead_share(d))
      return state.window.margin_quantile_db(quantile_beside(*dead), false);
    state.margin_fit.note_clear(now);
    return state.window.margin_quantile_db(0.5, false);
  }
  const auto fit = state.margin_fit.recent(state.window, question(d, now), now);
  return fit ? std::optional(fit->median_db) : std::nullopt;
}

std::optional<Margin> PathMargin::margin(Direction d, Time now) {
  DirectionState& state = direction(d);
  state.window.expire(now);
  if (state.window.empty()) return {};
  Margin out;
  if (needs_fit(d)) {
    const auto fit = state.margin_fit.fit(state.window, question(d, {}));
    if (!fit) return {};
    // Losses of both kinds at once are hard to tell apart: 0.84 of the truths lay within two
    // standard errors where they were, without this (known-truth trials).
    const double mixed = 1 + 2.2 * std::min(fit->collisions, fit->level_lost);
    out = {fit->median_db, fit->low_db, std::hypot(mixed * fit->median_sd_db, kStepErrorDb),
           fit->level_lost};
    if (const auto low = state.window.margin_quantile_db(0.01, false);
        low && fit->level_lost < kFewLost)
      out.low_db = *low;
    return out;
  }
  const auto dead = dead_share(d);
  out.too_weak = share_too_weak(d, *state.window.margin_median_db());
  if (dead) out.too_weak = *dead + (1 - *dead) * out.too_weak;
  out.median_db = dead ? *state.window.margin_quantile_db(quantile_beside(*dead), false)
                       : *state.window.margin_median_db();
  out.low_db = state.window.margin_quantile_db(0.01, false).value_or(out.median_db);
  if (dead && *dead > 0.01) out.low_db = std::min(out.low_db, kDeadDb);
  // Reading errors carry frames across the median, as many up as down but for chance.
  const double deviation = *state.window.margin_deviation_db();
  const double measured = std::max(1.0, static_cast<double>(state.window.samples()));
  const double n =
      std::max(measured, static_cast<double>(state.window.frames()) +
                             (counts_losses(d) ? static_cast<double>(state.window.lost()) : 0.0));
  const double variance =
      kCrossing * reading_sd_db(d) * deviation / measured +
      kMedianOfSample * std::max(0.0, 1 - measured / n) * deviation * deviation / measured;
  // Near the ceiling of the SNR the noise is borrowed from the weakest frames.
  const bool borrowed =
      state.noise_source == NoiseSource::snr &&
      out.median_db + state.rules.required_snr_db > state.rules.snr_ceiling_db - kBendDb - 2;
  out.stderr_db =
      std::sqrt(variance + kStepErrorDb * kStepErrorDb + (borrowed ? kBorrowedNoiseVariance : 0) +
                (dead ? kDeadChannelsVariance : 0));
  return out;
}

/// Of the channels on which frames arrive. What arrives under the limit shows that the limit is a
/// lower one, as for a fit.
double PathMargin::share_too_weak(Direction d, double median_db) const {
  constexpr double kReadBelowLimitDb = 2;
  const DirectionState& state = direction(d);
  const double limit_db =
      std::min(0.0, state.window.margin_quantile_db(0.05, false).value_or(0) + kReadBelowLimitDb);
  const double read_db = state.window.margin_deviation_db().value_or(0);
  const double own_db =
      std::sqrt(std::max(0.04, read_db * read_db - reading_sd_db(d) * reading_sd_db(d)));
  return state.margin_fit.share_too_weak(median_db - limit_db, own_db);
}

}  // namespace fadeward::link
