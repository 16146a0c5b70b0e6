// Rule sets of licence-free bands, checked on paper.
//
// An aid and not legal advice: the local regulator and the radio's certificate decide. Only what
// the settings state can be checked; what they do not state becomes a caution without a value.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/budget/caution.hpp"

namespace fadeward::budget {

/// One limit with the paragraph that sets it.
struct RuleLimit {
  double value = 0;
  std::string rule;
};

/// What a rule set asks of one plan. An empty optional: nothing asked.
struct RuleLimits {
  std::optional<RuleLimit> band_low_mhz;
  std::optional<RuleLimit> band_high_mhz;
  std::optional<RuleLimit> conducted_dbm;  ///< with antennas up to `antenna_dbi`
  std::optional<RuleLimit> antenna_dbi;    ///< each dB above takes one from `conducted_dbm`
  std::optional<RuleLimit> eirp_dbm;
  std::optional<RuleLimit> erp_dbm;  ///< e.i.r.p. - 2.15 dB
  std::optional<RuleLimit> density_dbm_per_3khz;
  std::optional<RuleLimit> bandwidth_min_hz;
  std::optional<RuleLimit> bandwidth_max_hz;
  std::optional<RuleLimit> channels_min;  ///< hop channels
  std::optional<RuleLimit> dwell_s;       ///< on one channel within `dwell_period_s`
  std::optional<RuleLimit> dwell_period_s;
  std::optional<RuleLimit> duty_ratio;  ///< 0..1 in any hour
};

/// us-15.247-hopping, us-15.247-digital, us-15.247-hybrid, eu-863-870, au-915-928, custom.
std::span<const std::string_view> rule_sets();

/// The limits that the link's rule set lays on it: they depend on bandwidth and channel count and,
/// for eu-863-870, on the frequency. `custom` takes channels, dwell and duty of the settings as
/// limits. No rule set, or one that is not known: nothing is asked.
RuleLimits limits_of(const LinkSettings& link);

/// Where the plan breaks a limit or does not say enough, both ends looked at. Empty without rule
/// set.
std::vector<Caution> check_rules(const LinkSettings& link);

}  // namespace fadeward::budget
