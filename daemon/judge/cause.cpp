#include "fadeward/judge/cause.hpp"

#include <algorithm>
#include <cmath>

namespace fadeward::judge {

namespace {

constexpr double kChangeDb = 2.0;          // smaller ones are the weather's
constexpr double kFollowsDb = 1.5;         // noise that fell at least so much fell with the signal
constexpr double kUnexplainedLoss = 0.05;

struct Side {
  bool less_signal, more_noise, less_noise;
  double signal_db, noise_db;
};

Side side_of(const Evidence& evidence, Direction direction) {
  const auto d = static_cast<std::size_t>(direction);
  const double signal_db = evidence.signal_change_db[d].value_or(0);
  const double noise_db = evidence.noise_change_db[d].value_or(0);
  return {signal_db < -kChangeDb, noise_db > kChangeDb, noise_db < -kFollowsDb, signal_db, noise_db};
}

Verdict both_less(const Side& in, const Side& out) {
  const double size_db = std::max(-in.signal_db, -out.signal_db);
  // Inbound noise is the near end's, outbound noise the far end's.
  if (in.less_noise && !out.less_noise) return {Cause::near_antenna, size_db};
  if (out.less_noise && !in.less_noise) return {Cause::far_antenna, size_db};
  return {Cause::path, size_db};
}

}  // namespace

Verdict weigh(const Evidence& evidence) {
  const Side in = side_of(evidence, Direction::inbound);
  const Side out = side_of(evidence, Direction::outbound);
  if (in.less_signal && out.less_signal) return both_less(in, out);
  // More noise than signal is missing: the noise is what costs the margin.
  const double noise_db = std::max(in.more_noise ? in.noise_db : 0.0, out.more_noise ? out.noise_db : 0.0);
  const double signal_db = std::max(in.less_signal ? -in.signal_db : 0.0, out.less_signal ? -out.signal_db : 0.0);
  if (noise_db > 0 && noise_db >= signal_db)
    return {in.more_noise && in.noise_db >= out.noise_db ? Cause::near_noise : Cause::far_noise, noise_db};
  if (in.less_signal) return {in.less_noise ? Cause::near_receive : Cause::far_transmit, signal_db};
  if (out.less_signal) return {out.less_noise ? Cause::far_receive : Cause::near_transmit, signal_db};
  const bool losing = std::ranges::any_of(evidence.unexplained_loss_ratio, [](const std::optional<double>& loss) {
    return loss && *loss > kUnexplainedLoss;
  });
  if (losing) return {Cause::collisions, std::nullopt};
  return {};
}

}  // namespace fadeward::judge
