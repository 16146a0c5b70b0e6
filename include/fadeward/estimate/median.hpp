// The median of a list that is at hand.
#pragma once

#include <span>

namespace fadeward::estimate {

/// The middle one, or the mean of the two in the middle. Reorders the values. 0 without a value.
double median_of(std::span<double> values);

}  // namespace fadeward::estimate
