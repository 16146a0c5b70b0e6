#include "fadeward/judge/signature.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::judge {

namespace {

using Vector = std::array<double, kStreams>;

// Effect of one decibel on common, difference, near noise, far noise.
struct Template {
  Cause cause;
  Vector effect;
};
constexpr Template kTemplates[] = {
    {Cause::path, {-1, 0, 0, 0}},
    {Cause::far_transmit, {-0.5, -1, 0, 0}},
    {Cause::near_transmit, {-0.5, 1, 0, 0}},
    {Cause::near_receive, {-0.5, -1, -1, 0}},
    {Cause::far_receive, {-0.5, 1, 0, -1}},
    {Cause::near_noise, {0, 0, 1, 0}},
    {Cause::far_noise, {0, 0, 0, 1}},
};
// Antennas: this, and a share of it in the noise of their end.
constexpr Vector kAntennaSignal = {-1, 0, 0, 0};
constexpr double kLeastShare = 0.12, kMostShare = 1.05;  // of the signal's loss, in the noise
constexpr double kSecondUnknown = 1.5;     // gain that a second fitted value must earn
constexpr double kSignificantNoise = 2.5;  // standard deviations, for a receiver
constexpr double kAntennaNoise = 3.0, kAntennaNoiseDb = 0.6;

/// With one way known, a signal in that direction is all there is of the mean.
Vector seen(Vector effect, const Changes& changes) {
  if (changes.one_way) {
    const double sign = changes.way == Direction::inbound ? 0.5 : -0.5;
    effect[0] += sign * effect[1];
    effect[1] = 0;
  }
  return effect;
}

struct Sums {
  double cross = 0, square = 0, total = 0;
};
Sums sums_of(const Vector& effect, const Changes& c) {
  Sums out;
  for (std::size_t i = 0; i < kStreams; ++i) {
    if (!c.known[i]) continue;
    const double weight = 1 / (c.sigma_db[i] * c.sigma_db[i]);
    out.cross += weight * effect[i] * c.by_db[i];
    out.square += weight * effect[i] * effect[i];
    out.total += weight * c.by_db[i] * c.by_db[i];
  }
  return out;
}

Explanation fitted(const Template& one, const Changes& changes) {
  const Sums sums = sums_of(seen(one.effect, changes), changes);
  Explanation out;
  out.cause = one.cause;
  if (sums.square <= 0) return out;
  out.size_db = sums.cross / sums.square;
  out.gain = 0.5 * sums.cross * sums.cross / sums.square;
  out.misfit = sums.total - 2 * out.gain;
  if (one.cause == Cause::near_receive || one.cause == Cause::far_receive)
    out.noise_db = out.size_db;
  return out;
}

Explanation fitted_antenna(Cause cause, const Changes& changes) {
  const Stream noise = cause == Cause::near_antenna ? Stream::near_noise : Stream::far_noise;
  Explanation out;
  out.cause = cause;
  if (!changes.has(noise) || !changes.has(Stream::common)) return out;
  const double signal_db = -changes.db(Stream::common);
  if (signal_db == 0) return out;
  const double share = std::clamp(-changes.db(noise) / signal_db, kLeastShare, kMostShare);
  if (std::abs(changes.db(noise)) < std::max(kAntennaNoiseDb, kAntennaNoise * changes.sigma(noise)))
    return out;
  Vector effect = kAntennaSignal;
  effect[static_cast<std::size_t>(noise)] = -share;
  const Sums sums = sums_of(seen(effect, changes), changes);
  out.size_db = sums.cross / sums.square;
  out.noise_db = share * out.size_db;
  out.gain = 0.5 * sums.cross * sums.cross / sums.square - kSecondUnknown;
  out.misfit = sums.total - 2 * (out.gain + kSecondUnknown);
  return out;
}

/// Signals of one direction and nothing else known: a transmitter is as good as the path.
bool can_be_told(Cause cause, const Changes& c) {
  switch (cause) {
    case Cause::path: return c.has(Stream::common);
    case Cause::near_transmit:
    case Cause::far_transmit: return c.has(Stream::difference);
    case Cause::near_receive: return c.has(Stream::difference) && c.has(Stream::near_noise);
    case Cause::far_receive: return c.has(Stream::difference) && c.has(Stream::far_noise);
    case Cause::near_noise: return c.has(Stream::near_noise);
    case Cause::far_noise: return c.has(Stream::far_noise);
    default: return true;
  }
}

}  // namespace

std::optional<Explanation> explain(const Changes& changes) {
  Explanation best, second;
  const auto consider = [&](const Explanation& one) {
    if (one.gain > best.gain) {
      second = best;
      best = one;
    } else if (one.gain > second.gain) {
      second = one;
    }
  };
  for (const Template& one : kTemplates) {
    if (!can_be_told(one.cause, changes)) continue;
    const bool receiver = one.cause == Cause::near_receive || one.cause == Cause::far_receive;
    const Stream noise = one.cause == Cause::near_receive ? Stream::near_noise : Stream::far_noise;
    if (receiver && std::abs(changes.db(noise)) < kSignificantNoise * changes.sigma(noise))
      continue;
    consider(fitted(one, changes));
  }
  for (const Cause antenna : {Cause::near_antenna, Cause::far_antenna})
    consider(fitted_antenna(antenna, changes));
  if (best.cause == Cause::none || best.size_db <= 0) return {};
  best.lead = best.gain - second.gain;
  return best;
}

bool fits(const Explanation& explanation) {
  constexpr double kChance = 6, kShare = 0.35;
  return explanation.misfit <= kChance + kShare * 2 * explanation.gain;
}

bool own_proof(Cause cause, const Changes& c) {
  constexpr double kOwn = 4.8, kEach = 3.5;  // standard deviations
  const auto sigmas = [&](Stream s) { return std::abs(c.db(s)) / c.sigma(s); };
  switch (cause) {
    case Cause::near_transmit:
    case Cause::far_transmit: return sigmas(Stream::difference) > kOwn;
    case Cause::near_receive:
      return sigmas(Stream::difference) > kEach && sigmas(Stream::near_noise) > kEach;
    case Cause::far_receive:
      return sigmas(Stream::difference) > kEach && sigmas(Stream::far_noise) > kEach;
    case Cause::near_noise: return sigmas(Stream::near_noise) > kOwn;
    case Cause::far_noise: return sigmas(Stream::far_noise) > kOwn;
    default: return true;
  }
}

double size_of(Cause cause, const Changes& changes) {
  for (const Template& one : kTemplates)
    if (one.cause == cause) return fitted(one, changes).size_db;
  // Antennas: what the signals say.
  if (cause == Cause::near_antenna || cause == Cause::far_antenna)
    return changes.has(Stream::common) ? -changes.db(Stream::common) : 0;
  return 0;
}

std::array<double, kStreams> effect_of(const Explanation& explanation, const Changes& like) {
  Vector effect{};
  for (const Template& one : kTemplates)
    if (one.cause == explanation.cause) effect = one.effect;
  const bool near = explanation.cause == Cause::near_antenna;
  if (near || explanation.cause == Cause::far_antenna) effect = kAntennaSignal;
  effect = seen(effect, like);
  for (double& each : effect) each *= explanation.size_db;
  if (near || explanation.cause == Cause::far_antenna)
    effect[static_cast<std::size_t>(near ? Stream::near_noise : Stream::far_noise)] =
        -explanation.noise_db;
  return effect;
}

}  // namespace fadeward::judge
