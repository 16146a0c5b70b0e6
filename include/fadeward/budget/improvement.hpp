// Which decibel is cheapest: what single changes of a plan would gain.
//
// Prices are known to whoever plans; here stands what each change gains, what it costs in other
// figures of the plan, and which rule it would break.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/budget/profile.hpp"

namespace fadeward::budget {

inline constexpr double kHeightStepM = 5;
inline constexpr double kGainStepDb = 3;  ///< of antennas and of power

struct Improvement {
  std::string what;  ///< "far antenna 5 m higher (14 m)"
  std::array<double, kDirections>
      gains_db{};                   ///< of the margins; index: Direction; below 0: a loss
  double weaker_gain_db = 0;        ///< gain of the smaller one of both margins
  std::string price;                ///< in other figures of the plan; empty: none that it knows
  std::vector<std::string> breaks;  ///< paragraphs that the plan does not break without the change
};

/// Single changes of heights, antennas, feeders, power, polarisation, trees and data rate, each
/// computed anew over the whole path; what gains the weaker direction most comes first. Where more
/// gain would break a rule of radiated power, the sender's power is taken as so much lower: what is
/// left is the gain in reception. Empty where a margin is not known or its level was given
/// outright. Heights need the profile. Pure; never fails.
std::vector<Improvement> improvements(const LinkSettings& link, const Profile* profile = nullptr);

}  // namespace fadeward::budget
