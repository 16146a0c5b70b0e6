// Availability and error performance in the manner of ITU-T G.826 and G.827, on intervals that are
// long enough for a radio that sends now and then.
//
// The rules are those of G.826 Annex A and G.827 (from memory) with "second" read as "interval":
// errored: a frame was lost; severely errored: 30 % of its frames or more were lost, or nothing was
// heard while it should have been; unavailable time begins with the first of ten consecutive
// severely errored intervals and ends before the first of ten consecutive ones that are not;
// errored intervals count in available time only. Figures on such intervals do not compare with
// those on seconds.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::review {

/// The last three are in rising order of harm; the first two are left out of all ratios.
enum class IntervalState : std::uint8_t { no_data, upkeep, good, errored, severely_errored };

inline constexpr double kSevereLossRatio = 0.3;
inline constexpr std::size_t kRunToChange = 10;  ///< consecutive intervals that change availability
inline constexpr std::uint64_t kLeastFramesPerInterval = 10;

/// Intervals from `first` to before `end`, all unavailable but for upkeep and missing data within.
struct UnavailableRun {
  std::size_t first = 0;
  std::size_t end = 0;
  bool open = false;  ///< the record ends before ten intervals in a row were good
  bool operator==(const UnavailableRun&) const = default;
};

struct Judged {
  std::vector<bool> unavailable;  ///< one per interval; false for upkeep and missing data
  std::vector<UnavailableRun> runs;
};

/// Upkeep and missing data end a run of ten that was being counted, and change nothing else.
Judged judge_intervals(std::span<const IntervalState> states);

/// Both ways: an interval is as bad as its worse direction and unavailable if either is (G.827).
/// Spans of equal length.
Judged both_ways(const Judged& one, const Judged& other, std::span<const IntervalState> states);
std::vector<IntervalState> worse_of(std::span<const IntervalState> one,
                                    std::span<const IntervalState> other);

/// Numbers of intervals.
struct Tally {
  std::uint64_t available = 0;
  std::uint64_t unavailable = 0;
  std::uint64_t errored = 0;           ///< in available time, the severely errored included
  std::uint64_t severely_errored = 0;  ///< in available time
  std::uint64_t upkeep = 0;
  std::uint64_t no_data = 0;
  bool operator==(const Tally&) const = default;

  /// Shares, 0..1; empty where nothing was measured.
  std::optional<double> availability() const;
  std::optional<double> errored_ratio() const;
  std::optional<double> severely_errored_ratio() const;
};

Tally tally(std::span<const IntervalState> states, const Judged& judged, std::size_t first,
            std::size_t end);

/// The shortest of 15 and 30 min, 1, 2, 3, 4, 6, 8, 12 hours, 1 to 7 days that holds ten frames of
/// a direction that sends so many a day, and not below `least`. Empty: seven days do not.
std::optional<Duration> interval_for(double frames_per_day, Duration least);

}  // namespace fadeward::review
