// The long view of one direction: trend and forecast from daily margins, and the baseline.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/judge/forecast.hpp"

namespace fadeward::judge {

/// Takes the margin of each day. The baseline is the median of the days of the commissioning (the
/// first 14 with data) or of the configured dates; until it is complete it is what there is of it.
class Outlook {
 public:
  static constexpr std::size_t kCommissioningDays = 14;

  /// Once a day, `day` counting days of the wall clock; a day given again, an earlier one, or a
  /// margin that is not finite changes nothing.
  void add_day(std::int64_t day, double margin_db, const BaselineSettings& settings);
  /// The wall clock was set; without it days that a wrong clock was ahead by would be ignored.
  void shift(Duration step);
  /// The crossing of a threshold and the trend are worked out with `add_day`; asking is free.
  void judge(std::optional<double> threshold_db);

  std::optional<double> trend_db_per_day() const { return trend_db_per_day_; }
  const std::optional<Crossing>& crossing() const { return crossing_; }
  /// Empty before the first day of it.
  std::optional<double> baseline_margin_db() const;
  bool baseline_complete(const BaselineSettings& settings) const;
  std::optional<std::int64_t> last_day() const;

  template <class A>
  void archive(A& a) {
    a(forecast_, baseline_, baseline_from_, baseline_to_, days_ahead_);
    if constexpr (A::kReading) {
      if (baseline_.size() > kMostBaselineDays) a.fail();
      trend_db_per_day_ = forecast_.trend_db_per_day();
    }
  }

 private:
  static constexpr std::size_t kMostBaselineDays = 120;

  Forecast forecast_;
  std::vector<float> baseline_;  ///< margins of its days
  Time baseline_from_{},
      baseline_to_{};            ///< the dates that these belong to; both zero: commissioning
  std::int64_t days_ahead_ = 0;  ///< of the forecast's own count, since clocks were set
  std::optional<double> trend_db_per_day_;
  std::optional<Crossing> crossing_;
};

}  // namespace fadeward::judge
