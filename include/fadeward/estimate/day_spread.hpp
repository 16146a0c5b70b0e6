// How far the means of days lie from a slow level, and how days in a row hang together.
#pragma once

#include <cstdint>

namespace fadeward::estimate {

/// What a drift within days has to stand out from. Two views are taken together: the days
/// themselves, few but whatever their nature; and the four quarters of each, four times as many,
/// from whose spread and correlation that of the day follows as for a first-order autoregressive
/// process. Large values are cut, so that weather and faults do not hide themselves in them. All in
/// dB; begins with what is usual.
///
/// Pure; no allocation; one thread at a time.
class DaySpread {
 public:
  /// `day_sigma_db`: usual standard deviation of a day's mean, > 0; `quarter_correlation`: usual
  /// one of a quarter of a day with the next, 0 .. 0.9.
  DaySpread(double day_sigma_db, double quarter_correlation);

  /// Once an hour: the mean of six hours and that of the six before, each less the slow level.
  void add_quarters(double off_db, double before_db);
  /// Once an hour: the mean of a day less the slow level.
  void add_day(double off_db);
  /// Once an hour: the mean of a day less that of the day before.
  void add_step(double step_db);
  /// A deviation of this size came and went by itself: it is usual here.
  void add_return(double size_db);

  /// Standard deviation of the mean of `days` days in a row, days >= 1.
  double sigma_db(double days) const;
  /// How many independent values the standard deviation rests on, about: the degrees of freedom of
  /// its chi-square. Grows from a few to a hundred.
  double freedom() const;

  template <class A>
  void archive(A& a) {
    a(size_db_, square_, product_, off_db_, step_db_, hours_);
  }

 private:
  double quarter_correlation() const;
  double day_of_quarters_db() const;
  double day_of_days_db() const;
  double weight_of_days() const;
  double weight_of_quarters() const;

  double size_db_;  ///< mean size of a quarter's deviation
  double square_;   ///< mean square of it, and
  double product_;  ///< mean product of the deviations of neighbouring quarters
  double off_db_;   ///< mean size of a day's deviation
  double step_db_;  ///< mean size of the difference between days
  std::uint32_t hours_ = 0;
};

}  // namespace fadeward::estimate
