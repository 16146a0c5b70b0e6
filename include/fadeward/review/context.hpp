// What the configuration of a link tells its review.
#pragma once

#include <string_view>

#include "fadeward/base/settings.hpp"
#include "fadeward/review/review.hpp"

namespace fadeward::review {

/// The configuration's upkeep of a link, as the history would record it.
Periods configured_upkeep(const LinkSettings& link);

/// Thresholds and the margin that the budget promises. Levels that rest on a terrain profile must
/// have been put into the settings before. A link that is not configured: nothing is known.
LinkContext context_of(const Settings& settings, std::string_view link);

}  // namespace fadeward::review
