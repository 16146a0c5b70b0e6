// The budget of a link: what the settings promise, in both directions.
//
// Pure: settings and, where one was read, the terrain profile go in; figures come out. A figure
// that cannot be had is empty and says why. Nothing here fails, whatever the settings hold.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/budget/caution.hpp"
#include "fadeward/budget/profile.hpp"
#include "fadeward/budget/receiver.hpp"

namespace fadeward::budget {

/// A number, or the reason why there is none. `reason` is empty where `value` is set.
struct Figure {
  std::optional<double> value;
  std::string reason;
};

/// One way of saying how much of the time the margin lasts.
struct Availability {
  std::string method;
  Figure share;  ///< 0..1
};

struct DirectionBudget {
  Figure eirp_dbm;       ///< of this direction's sender
  Figure signal_dbm;     ///< at the receiver's input
  double noise_dbm = 0;  ///< of the receiver and its place, without interference
  double required_snr_db = 0;
  double sensitivity_dbm = 0;       ///< noise + required SNR: the weakest level that is received
  Figure margin_db;                 ///< signal - noise - required SNR
  Figure availability;              ///< 0..1 by `availability_method`
  std::string availability_method;  ///< empty where no method is in range
  bool signal_given = false;        ///< the level stands in the settings
  Receiver receiver;
  std::vector<Availability> availability_by_method;
};

struct LinkBudget {
  std::string link;
  Figure free_space_db;
  Figure gas_db;          ///< of the air; below 1 GHz the bound that holds at 1 GHz
  Figure diffraction_db;  ///< median conditions
  Figure knife_edge_db;   ///< what the point of least clearance would cost alone; not in the sum
  Figure foliage_db;      ///< in leaf
  Figure foliage_leafless_db;
  std::array<DirectionBudget, kDirections> directions;  ///< index: Direction
  Figure fresnel_clearance_ratio;  ///< smallest share of the first zone, median k-factor
  std::optional<double> fresnel_at_km;
  Figure
      fresnel_clearance_ratio_worst_month;  ///< the same with the k-factor of ITU-R P.530-19 eq (4)
  Figure bit_rate_bps;
  Figure time_on_air_s;    ///< of a frame of `kTypicalPayloadBytes`
  Figure near_exposure_m;  ///< stricter limit for the general public, full duty
  Figure far_exposure_m;
  std::optional<double> distance_km;     ///< used: of the settings, else of the profile
  std::vector<Caution> cautions;         ///< rules, clearance, profile, target availability
  std::vector<std::string> assumptions;  ///< what was taken for granted where nothing was said

  const DirectionBudget& direction(Direction which) const {
    return directions[static_cast<std::size_t>(which)];
  }
};

/// One method of availability with both directions, for tables.
struct MethodRow {
  std::string method;
  Figure inbound;  ///< 0..1; empty with its reason where the method or the margin is not there
  Figure outbound;
  bool silent() const { return !inbound.value && !outbound.value; }
  /// Why a figure is missing; empty where none is.
  const std::string& reason() const { return inbound.value ? outbound.reason : inbound.reason; }
};

/// All methods of the direction that has a margin; empty where neither has.
std::vector<MethodRow> methods_of(const LinkBudget& budget);

/// `profile`: the parsed terrain of `link.budget.profile`; null where there is none. Where the
/// settings name a profile and none is passed, or the foliage model does not reach, path levels
/// stay empty rather than too good. Levels given outright are used as they are.
LinkBudget compute(const LinkSettings& link, const Profile* profile = nullptr);

}  // namespace fadeward::budget
