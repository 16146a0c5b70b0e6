// Everything known about one link: reports in, rolling statistics of both directions out.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>

#include "fadeward/base/report.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/budget/receiver.hpp"
#include "fadeward/estimate/interval_learner.hpp"
#include "fadeward/link/counter.hpp"
#include "fadeward/link/counter_pair.hpp"
#include "fadeward/link/direction.hpp"
#include "fadeward/link/path_margin.hpp"
#include "fadeward/link/reciprocal.hpp"
#include "fadeward/link/sequence.hpp"
#include "fadeward/link/steady_value.hpp"

namespace fadeward::link {

/// What a report revealed beside numbers; the judge makes logbook entries of it.
struct Noticed {
  enum class End : std::uint8_t { none, near, far, unknown };
  End restarted = End::none;
  /// The field whose value changed for good, and from what to what.
  std::optional<Field> setting;
  SteadyValue::Change change{};
};

/// Not thread-safe. Times are the supervisor's own: they never go back by more than the disorder
/// allowed in a recording.
class LinkState {
 public:
  LinkState(const LinkSettings& settings, bool keep_intervals);

  /// New settings; what was learned stays.
  void reconfigure(const LinkSettings& settings);

  Noticed take(const LinkReport& report, Time at);
  void tick(Time now);
  void shift(Duration step);
  /// What happened since the last report is unknown: the port was closed, bytes were lost, the
  /// program did not run.
  void gap_unknown() { gap_unknown_ = true; }

  // ---- what it says ----
  std::optional<Time> last_report() const { return last_report_; }
  std::optional<Duration> expect() const;
  /// After so long without a report the link is silent: as configured, else three intervals and at
  /// least 15 minutes, more intervals where losses alone make such a silence.
  Duration silent_after() const;

  struct Loss {
    double ratio = 0;
    double frames = 0;  ///< sent, as far as is known: what the ratio rests on
    LossSource source = LossSource::none;
  };
  /// Per transmission; losses presumed in a silence are included. Empty: not known.
  std::optional<Loss> loss(Direction direction, estimate::RollingCounts::Window window, Time now);
  /// Repeats per transmission in the last hour, or day where an hour holds fewer than 20. Empty: no
  /// counters, or nothing sent.
  std::optional<double> retry_ratio(Direction direction, Time now);

  /// Of both directions, for questions about the moment: the answers are those of PathMargin.
  std::optional<Margin> margin(Direction d, Time now) { return margins().margin(d, now); }
  std::optional<double> margin_median_db(Direction d, Time now) {
    return margins().median_db(d, now);
  }
  std::optional<double> received_margin_db(Direction d, Time now) {
    return margins().received_db(d, now);
  }

  std::optional<double> latency_s() const;  ///< median of the last 64
  double foreign_per_hour(Time now);

  /// Asks for what a report touches, on the hop channel of this number (negative: none); then, with
  /// that in the cache, for what it points to.
  [[gnu::always_inline]] void prefetch_head(double channel) const {
    prefetch_lines(
        this, reinterpret_cast<const char*>(&directions_) - reinterpret_cast<const char*>(this));
    for (const DirectionState& d : directions_) d.prefetch_head(channel);
  }
  [[gnu::always_inline]] void prefetch() const {
    for (const DirectionState& d : directions_) d.prefetch();
  }

  DirectionState& direction(Direction d) { return directions_[static_cast<std::size_t>(d)]; }
  const DirectionState& direction(Direction d) const {
    return directions_[static_cast<std::size_t>(d)];
  }
  const budget::Receiver& receiver(Direction d) const {
    return receivers_[static_cast<std::size_t>(d)];
  }
  std::optional<double> power_dbm(Direction d) const;
  /// What the sender of this direction could add to its reported power: up to the configured
  /// `max_power_dbm`, else up to the highest that it was seen to use. 0 where power is not
  /// reported.
  double unused_power_db(Direction d) const;
  /// What this direction could still gain: unused power up to `max_power_dbm` and the slowest rate
  /// over that of the last frame. Empty where neither is configured, or the highest power is and
  /// the power in use is not reported.
  std::optional<double> unused_db(Direction d) const;

  std::optional<int> spreading_factor() const;
  std::optional<double> bandwidth_hz() const;

  template <class A>
  void archive(A& a) {
    a(directions_[0], directions_[1], sequence_, counters_, inbound_pair_, outbound_pair_,
      interval_, last_report_, last_frame_, last_far_, last_far_time_, settings_seen_, latencies_,
      reports, repeats, late, restarts, foreign, supply_v, temperature_c, uptime_s, has_foreign_,
      highest_power_dbm_, reciprocal_, learned_at_, silent_intervals_);
    if constexpr (A::kReading) {
      if (latencies_.size() > kLatencies) {
        latencies_.clear();
        a.fail();
      }
      gap_unknown_ = true;
      settle_rate();
      if (has_foreign_) foreign_counts_ = std::make_unique<estimate::RollingCounts>();
    }
    if (has_foreign_ && foreign_counts_) a(*foreign_counts_);
  }

 private:
  enum Counter : std::uint8_t {
    kTxFrames,
    kFarTxFrames,
    kTxRetries,
    kFarTxRetries,
    kTxFailures,
    kFarTxFailures,
    kRxFrames,
    kFarRxFrames,
    kForeign,
    kUptime,
    kCounters,
  };
  enum Setting : std::uint8_t { kPower, kFarPower, kSpreading, kBandwidth, kBitRate, kSettings };
  struct FarReading {
    double rssi_dbm = 1e9, snr_db = 1e9, noise_dbm = 1e9;
    bool operator==(const FarReading&) const = default;
    template <class A>
    void archive(A& a) {
      a(rssi_dbm, snr_db, noise_dbm);
    }
  };

  struct Frame;  // what one report says about the sequence
  Frame follow_sequence(const LinkReport& report, Time at, Noticed& noticed);
  void note_restart(Noticed& noticed, Noticed::End end);
  CounterStep step(const LinkReport& report, Field field, Counter counter, Noticed& noticed);
  void follow_counters(const LinkReport& report, Time at, Noticed& noticed);
  void follow_settings(const LinkReport& report, Noticed& noticed);
  void follow_health(const LinkReport& report, Time at);
  void follow_rate(const LinkReport& report);
  void settle_rate();
  void settle_silence(Time now);
  void follow_power(Direction direction, const LinkReport& report, Field field);
  std::optional<std::uint8_t> measure_inbound(const LinkReport& report, Time at);
  void measure_outbound(const LinkReport& report, Time at, std::uint8_t weight);
  std::optional<std::uint8_t> far_channel(const LinkReport& report, Time at, Time measured_at);
  void measure(Direction direction, const Reading& reading, Time at,
               std::optional<std::uint8_t> channel, std::uint8_t weight = 0);
  void settle_rules(Direction direction);
  void learn_saturation(Direction direction, const Reading& reading);
  FrameSetting frame_setting(Direction direction) const;
  double presumed_lost(Duration window, Time now) const;
  PathMargin margins() { return {directions_, reciprocal_}; }

  static constexpr std::size_t kLatencies = 64;

  // What every report touches lies together, up to the directions.
  bool gap_unknown_ = false;
  bool seq_counts_frames_ = true;
  bool rate_known_ = false;  ///< of the last frame: rate_ holds something

 public:
  std::uint64_t reports = 0;
  std::uint64_t repeats = 0;
  std::uint64_t late = 0;

 private:
  std::optional<Time> last_report_;
  std::optional<Time> last_frame_;  ///< time of the newest frame by number, or of the last report
  SequenceTracker sequence_;
  estimate::IntervalLearner interval_;
  std::optional<Duration> expect_;
  std::optional<double> last_far_time_;
  FarReading last_far_;
  std::array<DirectionState, kDirections> directions_;

 public:
  std::uint64_t restarts = 0;
  std::uint64_t foreign = 0;
  std::optional<double> supply_v;
  std::optional<double> temperature_c;
  std::optional<double> uptime_s;

 private:
  budget::FrameRate rate_;
  std::array<budget::Receiver, kDirections> receivers_;
  RadioSettings radio_;
  std::array<std::optional<double>, kDirections> site_noise_figure_db_;
  std::array<std::optional<double>, kDirections> site_power_dbm_;
  std::array<std::optional<double>, kDirections> highest_power_dbm_;  ///< ever reported
  std::optional<Duration> silent_;
  double silent_intervals_ =
      3;                  ///< missing ones that make a silence; more where many are lost anyway
  Time silence_due_{};    ///< next look at that
  double slower_db_ = 0;  ///< gain of the slowest rate over that of the last frame
  std::array<CounterTracker, kCounters> counters_;
  CounterPair inbound_pair_;
  CounterPair outbound_pair_;
  std::array<SteadyValue, kSettings> settings_seen_;
  Reciprocal reciprocal_;
  Time learned_at_{};  ///< hour in which the margins were learned from
  Ring<float> latencies_;
  std::unique_ptr<estimate::RollingCounts> foreign_counts_;  ///< hits: frames refused
  bool has_foreign_ = false;
};

}  // namespace fadeward::link
