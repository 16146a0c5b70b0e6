// How long the margin will last: the trend of a link's daily medians and the day on which it
// crosses a threshold.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/ring.hpp"

namespace fadeward::estimate {

/// An answer to "when does the margin fall under this threshold?". Days count from the last day of
/// the record.
struct Crossing {
  enum class Outlook : std::uint8_t {
    unknown,  ///< fewer than two weeks since the record, or the last step of its level, began
    none_in_sight,
    crosses,
    below,  ///< stands under the threshold already
  };
  Outlook outlook = Outlook::unknown;
  bool season_known = false;  ///< the same weeks of the year before were seen
  bool by_season = false;     ///< the year before shows it; no drift is needed
  double threshold_db = 0;
  double level_db = 0;          ///< where the margin stands without the weather of the day
  double slope_db_per_day = 0;  ///< of the drift found; 0 without one
  /// Only for `crosses`: middle and 90 % interval. `late_days` is empty where it may not come at
  /// all within the time that the record allows to look ahead.
  double days = 0;
  double early_days = 0;
  std::optional<double> late_days;
};

/// One direction of one link. Fed once a day; asked once a day (an answer takes less than 2 ms for
/// a full record). Not safe to share between threads. Pure.
///
/// Rules. A drift counts when its slope is four standard errors from none with the memory of the
/// weather in them, Mann-Kendall corrected for autocorrelation gives p < 0.01 (falling), it has
/// taken 0.8 dB already and has not levelled off. It is drawn on for 0.6 of the time it has lasted,
/// so never for longer than the record. Once 395 days are there, the running median of the same
/// weeks of the year before is the season: drifts are judged on what differs from it and drawn on
/// upon it, and a season that will cross without any drift is told when it will do so by 1.5 dB.
class Forecast {
 public:
  static constexpr std::size_t kMostDays = 800;

  /// Median margin of a day; `day_number` counts days from any origin. Kept to 0.01 dB within
  /// +-327 dB. A day given again replaces the first value; days before the record, and values that
  /// are not finite, are ignored. A day more than `kMostDays` after the last begins a new record.
  void add_day(std::int64_t day_number, double margin_db);

  /// Theil-Sen slope of the last 30 days. Empty before 7 days of data within them.
  std::optional<double> trend_db_per_day() const;

  /// Change per year with the season removed: median of the differences between the same days of
  /// two years. Empty before 395 days, or with fewer than 30 such pairs.
  std::optional<double> yearly_trend_db() const;

  Crossing crossing(double threshold_db) const;

  /// Number of the last day given; empty before the first.
  std::optional<std::int64_t> last_day() const;
  void clear() { days_.clear(); }

  template <class A>
  void archive(A& a) {
    a(first_day_, days_);
    if constexpr (A::kReading) {
      if (days_.size() > kMostDays || first_day_ > kFarthestDay || first_day_ < -kFarthestDay) {
        days_.clear();
        first_day_ = 0;
        a.fail();
      }
    }
  }

 private:
  static constexpr std::int16_t kMissing = INT16_MIN;
  static constexpr std::int64_t kFarthestDay = std::int64_t{1} << 40;

  std::optional<double> at(std::ptrdiff_t index) const;
  std::vector<double> yearly_differences() const;
  std::optional<double> steady_yearly_trend() const;
  std::vector<std::optional<double>> season() const;
  void against_record(Crossing& out) const;
  bool against_season(Crossing& out) const;  ///< false where the season has too few days

  std::int64_t first_day_ = 0;
  Ring<std::int16_t> days_;  ///< hundredths of a dB, one a day, gaps included
};

}  // namespace fadeward::estimate
