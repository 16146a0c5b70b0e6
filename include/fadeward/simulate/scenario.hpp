// The named worlds: what each is about, and how a seed fills in the rest.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/result.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/simulate/plan.hpp"

namespace fadeward::simulate {

/// Start of every world unless told otherwise: 2031-04-01T00:00:00Z.
inline constexpr Time kDefaultStart{std::chrono::seconds(1932768000)};

struct ScenarioInfo {
  std::string_view name;
  std::string_view description;  ///< one line
  std::string_view links;        ///< names, separated by spaces
};

/// In the order in which a list for a person shows them.
const std::vector<ScenarioInfo>& scenarios();

/// What the caller decides. Empty values are left to the scenario and the seed.
struct Options {
  std::string scenario = "healthy";
  std::uint64_t seed = 1;
  double days = 1;  ///< above 0, at most 36,600
  Time start = kDefaultStart;
  std::optional<double> interval_s;   ///< 0.5 to 86,400; default 10, hourly and years more
  std::optional<double> signal_dbm;   ///< mean wanted signal of both directions, all links
  std::optional<double> size;         ///< dB of the scenario's fault, share for collisions
  std::optional<double> onset_days;   ///< when its fault begins, days after the start
  std::optional<double> fault_hours;  ///< and how long it lasts; default: to the end
  std::optional<double> fading_k_db;  ///< -10 to 30; default 10
  int links = 1;                      ///< 1 to 4096 links L1, L2, ... at one gateway: far-side
                                      ///< faults on the first, near-side faults on all.
                                      ///< Ignored by tarn-valley and its years
  bool rain = true;
  std::optional<int> seq_bits;      ///< 8 to 64: frame numbers wrap
  std::optional<int> counter_bits;  ///< 8 to 64: the other counters wrap
  std::vector<std::string> omit;    ///< canonical keys to leave out of the reports
  bool truth = false;               ///< collect truth lines (see World::take_truth)
};

/// The world that the options describe; an error names the option, its value and what is allowed.
Result<Plan> make_plan(const Options& options);

}  // namespace fadeward::simulate
