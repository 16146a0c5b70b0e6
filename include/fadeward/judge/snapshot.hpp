// What the supervisor knows at one moment: immutable once published, shared by every reader.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/port_event.hpp"
#include "fadeward/base/report.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::judge {

/// Plain counts and medians of what arrived since the previous periodic snapshot (replay only).
struct Interval {
  std::uint64_t reports = 0;  ///< frames of this direction with a measurement
  std::uint64_t lost = 0;     ///< gaps noticed in this interval
  std::optional<double> signal_median_dbm;
  std::optional<double> noise_median_dbm;
};

/// A margin over one rolling window. Empty where nothing was measured in it.
struct Rolling {
  Duration window{};  ///< the nominal window: 5 min, 1 h, 24 h
  std::optional<double> margin_db;
  std::optional<double> loss_ratio;
};

/// One hop channel in the window of its direction: plain means over the frames heard on it.
struct ChannelSnapshot {
  double channel = 0;  ///< as the radio calls it: its number, or the carrier in Hz
  std::uint32_t frames = 0;
  double signal_dbm = 0;
  std::optional<double> noise_dbm;  ///< empty where noise is only assumed
};

/// One direction of one link. Every value: empty until it is known. After the last report the
/// window keeps its last 30 frames for up to 7 days; `LinkSnapshot::up` says whether they are
/// current. Levels in dBm at the receiver's input, after level offsets.
struct DirectionSnapshot {
  std::uint64_t reports = 0;         ///< measurements inside `window`
  Duration window{};                 ///< what margin, signal, noise and loss refer to
  std::optional<double> signal_dbm;  ///< wanted signal, median
  std::optional<double> noise_dbm;   ///< median
  NoiseSource noise_source = NoiseSource::none;
  std::optional<double> margin_db;  ///< median margin, lost frames and channels accounted for
  std::optional<double> margin_stderr_db;
  std::optional<double> margin_low_db;  ///< exceeded by 99 % of frames
  std::optional<double> loss_ratio;     ///< 0..1 per transmission
  LossSource loss_source = LossSource::none;
  std::optional<double> expected_loss_ratio;  ///< what the levels alone would lose, 0..1
  std::optional<double> trend_db_per_day;
  std::optional<double> days_left;  ///< until the forecast crosses the warning level; empty: not in sight
  std::optional<double> deficit_db;        ///< budgeted margin - margin_db; positive is worse
  std::optional<double> budget_margin_db;  ///< what the budget promised
  bool has_reserve = false;  ///< a highest power or a slowest rate is configured, and in use known
  std::optional<double> reserve_db;  ///< margin_db + unused power + gain of the slowest rate
  std::optional<double> rician_k_db;       ///< steady over scattered power of the fading
  std::optional<double>
      baseline_margin_db;  ///< median of the days of the commissioning or of the dates given
  std::optional<double> baseline_deficit_db;  ///< baseline_margin_db - margin_db (reserve_db where known)
  std::optional<double>
      retry_ratio;  ///< repeats per transmission of this direction's sender, last hour
  std::array<Rolling, 3> rolling;  ///< 5 min, 1 h, 24 h
  Cause cause = Cause::none;
  std::optional<double> tx_power_dbm;  ///< last reported power of this direction's sender
  std::uint64_t frames_total = 0;      ///< measurements since the start of the state
  std::uint64_t frames_lost_total = 0;
  std::uint64_t retries_total = 0;
  std::vector<ChannelSnapshot> channels;  ///< by channel; only where MetricsSettings::channels
  Interval interval;
};

struct LinkSnapshot {
  std::string name;
  PortIndex port = kNoPort;  ///< the configured one, else the first that reported it; none before
  bool up = false;  ///< reported within its `silent` time
  std::uint64_t reports_total = 0;
  std::uint64_t repeats_total = 0;  ///< reports that told nothing new (same seq)
  std::uint64_t late_total = 0;     ///< reports that came after younger ones
  std::uint64_t restarts_total = 0;
  std::uint64_t foreign_total = 0;
  std::optional<Time> last_report;  ///< wall clock
  std::optional<Duration> expect;   ///< configured or learned interval
  std::optional<double> latency_s;  ///< median of the last hour
  std::optional<double> supply_v;
  std::optional<double> temperature_c;
  std::optional<double> uptime_s;
  std::optional<int> spreading_factor;  ///< of the last frame, reported or configured
  std::optional<double> bandwidth_hz;
  bool upkeep = false;  ///< inside a configured upkeep period
  std::optional<double> margin_warning_db;  ///< thresholds of MarginLow
  std::optional<double> margin_critical_db;
  std::array<DirectionSnapshot, kDirections> directions;
};

struct PortSnapshot {
  std::string name;
  bool up = false;
  std::string detail;         ///< device or reason, printable
  std::optional<Time> since;  ///< of the present state
  std::array<std::uint64_t, kDiscardReasons> discarded_bytes{};
  std::array<std::uint64_t, kRejectReasons> rejected{};
  std::uint64_t unmatched = 0;  ///< reports of links that are not configured
  std::uint64_t values_discarded = 0;
  std::uint64_t unknown_keys = 0;
  std::uint64_t retimed = 0;  ///< reports whose own time could not be believed
  std::uint64_t faults = 0;   ///< times the port went down
  std::string last_rejected;  ///< beginning of the last frame not read, printable
  std::optional<Time> last_rejected_at;
  std::string last_unmatched;  ///< name of the last link that is not configured
};

/// An alert that can be active. Inactive ones appear only if they were active in the last 15 min
/// (`ended` set), so that pushes can resolve them.
struct AlertState {
  AlertName alert = AlertName::MarginLow;
  LinkIndex link = kNoLink;
  PortIndex port = kNoPort;
  std::optional<Direction> direction;
  bool active = false;
  Severity severity = Severity::none;
  Cause cause = Cause::none;
  bool stale = false;  ///< no data: neither confirmed nor cleared
  Time since{};        ///< raised at
  std::optional<Time> ended;
  std::optional<Time> onset;
  std::optional<double> size_db;
  std::optional<double> confidence;
  std::string text;
};

struct Snapshot {
  Time time{};
  bool clock_trusted = true;
  std::uint64_t clock_steps = 0;
  std::vector<LinkSnapshot> links;  ///< in the order of the settings; index = LinkIndex
  std::vector<PortSnapshot> ports;  ///< index = PortIndex
  std::vector<AlertState> alerts;   ///< links in order, then ports
};

using SnapshotPtr = std::shared_ptr<const Snapshot>;

/// Whether this alert is kept per direction for a link (MarginLow, LossHigh, BudgetDeficit), never
/// per direction (LinkSilent and the like), or belongs to ports only.
enum class AlertScope : std::uint8_t { direction, link, port };
AlertScope scope_of(AlertName alert);

}  // namespace fadeward::judge
