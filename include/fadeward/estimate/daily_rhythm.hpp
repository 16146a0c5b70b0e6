// A level's usual course over the day, learned from hourly values.
#pragma once

#include <array>
#include <cstdint>

#include "fadeward/base/time.hpp"

namespace fadeward::estimate {

/// Harmonics of 24 h and 12 h by least squares with a memory of about three weeks, drawn towards
/// none while little is known (ridge). The level itself is a running mean that becomes ever slower,
/// up to two months. Hours are those of UTC: what repeats daily repeats in any clock.
class DailyRhythm {
 public:
  /// The mean of one hour that ended at `at`. Values far off (more than four of the usual
  /// deviations) pull as if they were that far off and no more.
  void add(Time at, double value);
  /// Teaches the harmonics one hour; the caller decides how late, so that a swing that has just
  /// begun to grow is not taken for the rhythm before it was noticed.
  void learn(Time at, double value);
  /// The harmonics alone at a moment, dB; 0 before two days were seen.
  double daily_db(Time at) const;
  /// The slow level, dB. Meaningless before the first value.
  double level() const { return level_; }
  std::uint32_t hours() const { return hours_; }
  /// That the level rests on; 0 again after `forget_level`.
  std::uint32_t level_hours() const { return level_hours_; }
  /// Standard deviation of an hour's value about level and harmonics; `correlation` that of one
  /// hour with the next (0..0.95). Both come from the sizes of differences over one and eight
  /// hours, large ones cut, so that neither a slow drift nor rain hides itself in them. They begin
  /// with what is usual for paths.
  double hour_sigma_db() const { return sigma_db_; }
  double correlation() const { return correlation_; }
  /// Standard deviation of a mean over this many hours in a row.
  double mean_sigma_db(double hours) const;
  /// The clock was set: what was learned moves along, since the sun does not.
  void shift(Duration step);
  /// The level is another from now on, and not known yet.
  void forget_level() { level_hours_ = 0; }
  /// The level is another from now on.
  void shift_level(double by_db) { level_ += by_db; }

  template <class A>
  void archive(A& a) {
    a(hours_, level_hours_, level_, normal_, right_, harmonics_, near_db_, far_db_, sigma_db_,
      correlation_, last_, last_at_, since_solved_);
  }

 private:
  static constexpr int kTerms = 5;  // 1, cos and sin of 24 h, cos and sin of 12 h
  static std::array<double, kTerms> terms(Time at);
  void solve();
  void settle_sigma();

  std::uint32_t hours_ = 0;
  std::uint32_t level_hours_ = 0;  ///< that the level rests on
  double level_ = 0;
  std::array<float, kTerms * kTerms> normal_{};
  std::array<float, kTerms> right_{};
  std::array<float, kTerms> harmonics_{};
  double near_db_ = 0, far_db_ = 0;  ///< mean sizes of differences over 1 h and 8 h
  std::array<float, 8> last_{};      ///< deviations, by hours_ modulo 8
  double sigma_db_ = 0.8,
         correlation_ = 0.65;  ///< what is usual for paths, before anything was learned
  Time last_at_{};
  std::uint32_t since_solved_ = 0;
};

}  // namespace fadeward::estimate
