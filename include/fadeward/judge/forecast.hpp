// The forecast of a margin as the judge speaks of it; the mathematics stands in estimate.
#pragma once

#include <string>

#include "fadeward/estimate/forecast.hpp"

namespace fadeward::judge {

using estimate::Crossing;
using estimate::Forecast;

/// "crosses 10.0 dB in about 23 days (15 to 40); season unknown", "no crossing of 10.0 dB in
/// sight", "below 10.0 dB already", "too few days to tell".
std::string in_words(const Crossing& crossing);

}  // namespace fadeward::judge
