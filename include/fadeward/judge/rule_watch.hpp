// The rules of the band as far as reported frames show them: hop channels used alike, hop clocks
// together, time on one channel, duty cycle.
//
// Only frames that were reported are seen, so this is an aid and never a proof of compliance: the
// local regulator and the radio's certificate decide.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/report.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/budget/rules.hpp"

namespace fadeward::judge {

class RuleWatch {
 public:
  /// Frames for each channel before the use of channels is judged; then it begins anew.
  static constexpr std::uint32_t kFramesPerChannel = 20;
  static constexpr std::size_t kMostChannels = 1024;
  /// Reported errors of the hop clock that are judged together, by their median.
  static constexpr std::size_t kClockFrames = 31;
  static constexpr double kUsualHopClock_s = 0.002;  ///< common practice: one or two milliseconds

  explicit RuleWatch(const LinkSettings& settings);
  /// What was counted stays where the limits are the same.
  void reconfigure(const LinkSettings& settings);

  /// A report of a frame of the far end; needs `channel` or `frequency_hz` for the channels and
  /// `airtime_s` for the rest.
  void take(const LinkReport& report, Time at);
  void shift(Duration step);

  struct Verdict {
    bool broken = false;
    double value = 0;  ///< share of the busiest channel, seconds, duty as a ratio
    std::string text;  ///< one sentence, with the rule
  };
  /// Empty: not known (any more, or yet): an alert stays what it is. Once a minute.
  /// Hop clocks too far apart, or channels not used alike. `value` of a clock: its median error, s.
  std::optional<Verdict> hopping();
  std::optional<Verdict> dwell(Time now) const;
  /// inbound: the transmitter of the far end.
  std::optional<Verdict> duty(Direction direction, Time now) const;

 private:
  struct OnAir {
    Time at{};
    double channel = 0;
    double airtime_s = 0;
  };
  /// Time on air in the minutes of the last hour.
  struct Hour {
    std::array<float, 60> minutes_s{};
    std::int64_t newest = INT64_MIN;  ///< minute since the epoch
    std::optional<Time> since;        ///< first frame

    void add(Time at, double airtime_s);
    double sum_s(Time now) const;
  };
  /// What a counter has grown by since it was last seen.
  struct Counter {
    std::optional<double> last;
    Time at{};
    double grown(std::optional<double> value, Time now);
  };
  void begin_channels();
  void take_clock(double offset_s);
  std::optional<Verdict> hop_clock();
  std::optional<Verdict> channel_use();
  bool channels_judged() const;
  void take_channel(double channel);
  void take_dwell(double channel, double airtime_s, Time at);

  budget::RuleLimits limits_;
  std::string set_;
  std::optional<int> channels_set_;
  // Hop channels.
  std::vector<double> channels_;       ///< sorted
  std::vector<std::uint32_t> counts_;  ///< of these
  std::uint32_t frames_ = 0;
  std::optional<Verdict> hop_verdict_;
  // Hop clock.
  double clock_limit_s_ = kUsualHopClock_s;
  std::vector<double> clock_errors_s_;  ///< without their sign, the last kClockFrames in a ring
  std::size_t oldest_error_ = 0;
  bool clock_off_ = false;
  // Dwell.
  std::deque<OnAir> recent_;
  std::optional<Time> dwell_since_;  ///< first frame with a time on air
  struct Broken {
    Time at{};
    double channel = 0;
    double seconds = 0;
  };
  std::optional<Broken> dwell_broken_;  ///< the worst of the last hour
  // Duty.
  std::array<Hour, kDirections> hours_;
  std::array<Counter, kDirections> sent_;
};

}  // namespace fadeward::judge
