// Evidence in, cause out.
#pragma once

#include <array>
#include <optional>

#include "fadeward/base/terms.hpp"

namespace fadeward::judge {

/// What changed against the usual level of the link, per direction (index: Direction). Empty: not
/// known. Changes in dB, positive is more.
struct Evidence {
  std::array<std::optional<double>, kDirections> signal_change_db;
  std::array<std::optional<double>, kDirections> noise_change_db;
  /// Only where the margin of nearly all frames is ample: losses that the level does not explain.
  std::array<std::optional<double>, kDirections> unexplained_loss_ratio;
};

struct Verdict {
  Cause cause = Cause::none;
  std::optional<double> size_db;  ///< of the change that decided, positive
};

/// The table of causes of the contract as rules on changes of at least 2 dB: both directions lose
/// signal (path; an antenna where the noise of that end falls with it); one direction alone
/// (transmitter of its sender, or the receiver that hears it where its noise moves along); noise
/// alone at one end. Losses with nothing else to explain them are collisions.
Verdict weigh(const Evidence& evidence);

}  // namespace fadeward::judge
