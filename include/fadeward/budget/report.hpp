// The budget as text and as a page for a person, and as JSON for a program.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/budget/improvement.hpp"
#include "fadeward/budget/link_budget.hpp"
#include "fadeward/budget/path_drawing.hpp"

namespace fadeward::budget {

/// Everything that is said about one link.
struct Plan {
  LinkBudget budget;
  BudgetSettings terms;  ///< what the budget was made of
  std::vector<Improvement> improvements = {};
  std::optional<PathView> view = {};  ///< empty without a usable profile
};

/// Budget, improvements and view of one link. `profile` as for `compute`.
Plan plan_of(const LinkSettings& link, const Profile* profile = nullptr);

/// How long a usual frame takes, in words; `budget.time_on_air_s` has a value.
std::string air_time_note(const LinkBudget& budget);

/// What stands behind the diffraction loss: the method and, where it costs something, the worst
/// point by itself.
std::string diffraction_note(const LinkBudget& budget);

/// What is printed with every budget, whatever the plan.
std::span<const std::string_view> standing_cautions();

/// An array with one object per link, one line of text each, newline at the end. Keys:
/// link, distance_km, free_space_db, gas_db, diffraction_db, knife_edge_db (not in the sum),
/// foliage_db, foliage_leafless_db, inbound, outbound, fresnel_clearance_ratio, at_km,
/// fresnel_clearance_ratio_worst_month, bit_rate_bps, time_on_air_s and its
/// time_on_air_payload_bytes, exposure_distance_m {near, far}, improvements [{what, inbound_db,
/// outbound_db, weaker_db, price, breaks}], cautions [{rule, limit, value, text}], assumptions,
/// standing (the standing cautions) and reasons {key: why it is null}. Each direction: eirp_dbm,
/// signal_dbm, signal_given, noise_dbm, required_snr_db, sensitivity_dbm, margin_db, availability,
/// availability_method, reason (of the missing availability, else null), availability_by_method
/// [{method, availability, reason}], reasons. A value not known is null. Levels are rounded to
/// 0.0001 dB.
std::string to_json(std::span<const Plan> plans);

/// Aligned columns for a terminal, one block per link, standing cautions at the end.
std::string to_text(std::span<const Plan> plans);

/// A page that needs nothing from outside, one section per link, the path drawn where there is a
/// profile; for screens from 360 px on, light and dark, and for paper.
std::string to_html(std::span<const Plan> plans);

}  // namespace fadeward::budget
