// The budget as text for a person and as JSON for a program.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "fadeward/budget/link_budget.hpp"

namespace fadeward::budget {

/// What is printed with every budget, whatever the plan.
std::span<const std::string_view> standing_cautions();

/// An array with one object per link, one line of text each, newline at the end. Keys:
/// link, distance_km, free_space_db, diffraction_db, foliage_db, foliage_leafless_db, inbound,
/// outbound, fresnel_clearance_ratio, at_km, fresnel_clearance_ratio_worst_month,
/// exposure_distance_m {near, far}, cautions [{rule, limit, value, text}], assumptions, standing
/// (the standing cautions) and reasons {key: why it is null}. Each direction: eirp_dbm, signal_dbm,
/// signal_given, noise_dbm, required_snr_db, margin_db, availability, availability_method, reason
/// (of the missing availability, else null), availability_by_method [{method, availability,
/// reason}], reasons. A value not known is null. Levels are rounded to 0.0001 dB.
std::string to_json(std::span<const LinkBudget> budgets);

/// Aligned columns for a terminal, one block per link, standing cautions at the end.
std::string to_text(std::span<const LinkBudget> budgets);

}  // namespace fadeward::budget
