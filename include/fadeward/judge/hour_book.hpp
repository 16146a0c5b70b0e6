// The last nine days of a link by the hour: what drifts and growing swings are looked for in.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "fadeward/base/ring.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/estimate/day_spread.hpp"
#include "fadeward/judge/signature.hpp"

namespace fadeward::judge {

/// Levels in dB of the four streams (index: Stream), hour by hour, with those of the days that end
/// with each hour, a slow level that becomes ever slower up to two months, and how far days usually
/// lie from it. Hours are counted back from the newest: 0 is the newest. After a gap, or where
/// reports are rare, there is not one for each hour.
///
/// One thread at a time; memory is bounded; no allocation once it is full.
class HourBook {
 public:
  static constexpr std::size_t kDay = 24, kHours = 9 * kDay + 1;

  struct Hour {                                    // daily rhythm and what was told removed
    std::array<std::int16_t, kStreams> raw_cdb{};  ///< with the daily rhythm
    std::array<std::int16_t, kStreams> value_cdb{};
    std::array<std::int16_t, kStreams> day_cdb{};    ///< level of the 24 hours up to this one
    std::array<std::int16_t, kStreams> level_cdb{};  ///< slow mean of these, as it was then
    std::uint8_t known = 0;
    std::uint8_t day_known = 0;
    Time end{};

    bool has(std::size_t stream) const { return (known >> stream & 1U) != 0; }
    bool has_day(std::size_t stream) const { return (day_known >> stream & 1U) != 0; }
    /// By which what was told differs from what was.
    void move(std::size_t stream, double by_db);
    template <class A>
    void archive(A& a) {
      a(raw_cdb, value_cdb, day_cdb, level_cdb, known, day_known, end);
    }
  };

  /// Days and levels of `hour` are not read.
  void push(const Hour& hour);
  /// Takes the newest hour for a usual one: the day that it ends, the slow level, how days spread.
  void learn();

  std::size_t size() const { return hours_.size(); }
  Hour& back(std::size_t hours) { return hours_[hours_.size() - 1 - hours]; }
  const Hour& back(std::size_t hours) const { return hours_[hours_.size() - 1 - hours]; }
  /// How many of the newest hours end later.
  std::size_t since(Time at) const;

  /// Mean over `count` hours, at most a day, without those that weather or others have to answer
  /// for; empty where fewer than half are known.
  std::optional<double> level_db(std::size_t stream, std::size_t first_back,
                                 std::size_t count) const;
  /// Mean of the levels of the days that end `first_back` hours ago and before that.
  std::optional<double> mean_of_days_db(std::size_t stream, std::size_t first_back,
                                        std::size_t days) const;
  const estimate::DaySpread& spread(std::size_t stream) const { return spreads_[stream]; }
  /// Hours that the slow level rested on `back` hours ago; may be negative.
  double learned_hours(std::size_t stream, std::size_t back) const {
    return static_cast<double>(level_hours_[stream]) - static_cast<double>(back);
  }

  /// What was told has become usual.
  void accept(std::size_t stream, double by_db);
  /// A drift of this size came and went.
  void note_return(std::size_t stream, double size_db) { spreads_[stream].add_return(size_db); }
  /// The usual level and the hours that it rests on; the spread about it stays.
  void forget(std::size_t stream);
  /// The levels are these much higher from now on, and nothing before can be compared.
  void rebase(const Changes& now);
  void shift(Duration step);

  template <class A>
  void archive(A& a) {
    a(hours_, spreads_, level_db_, level_hours_);
    if constexpr (A::kReading)
      if (hours_.size() > kHours) a.fail();
  }

 private:
  void learn_spread(std::size_t stream);

  Ring<Hour> hours_;
  // How far days lie from the slow level of a rural path before anything was learned.
  std::array<estimate::DaySpread, kStreams> spreads_ = {
      estimate::DaySpread{0.42, 0.33}, estimate::DaySpread{0.106, 0.2},
      estimate::DaySpread{0.26, 0.5}, estimate::DaySpread{0.26, 0.5}};
  std::array<double, kStreams> level_db_{};            ///< slow mean of the days' levels
  std::array<std::uint32_t, kStreams> level_hours_{};  ///< that it rests on
};

}  // namespace fadeward::judge
