#include "fadeward/publish/families.hpp"

#include <array>

#include "family_table.hpp"

namespace fadeward::publish {

namespace {

using judge::ChannelSnapshot;
using judge::DirectionSnapshot;
using judge::LinkSnapshot;
using judge::PortSnapshot;
using judge::Rolling;
using Number = std::optional<double>;

Number last_report(const LinkSnapshot& link) {
  return link.last_report ? Number(to_unix_seconds(*link.last_report)) : Number();
}
Number expected_interval(const LinkSnapshot& link) {
  return link.expect ? Number(duration_to_seconds(*link.expect)) : Number();
}
Number spreading_factor(const LinkSnapshot& link) {
  return link.spreading_factor ? Number(*link.spreading_factor) : Number();
}
Number upkeep(const LinkSnapshot& link) { return link.upkeep ? 1.0 : 0.0; }

Number channel_signal(const ChannelSnapshot& channel) { return channel.signal_dbm; }
Number channel_noise(const ChannelSnapshot& channel) { return channel.noise_dbm; }
Number channel_frames(const ChannelSnapshot& channel) {
  return static_cast<double>(channel.frames);
}

Number window_seconds(const DirectionSnapshot& values) {
  return values.window > Duration::zero() ? Number(duration_to_seconds(values.window)) : Number();
}
Number window_frames(const DirectionSnapshot& values) {
  return values.window > Duration::zero() ? Number(static_cast<double>(values.reports)) : Number();
}
Number noise_assumed(const DirectionSnapshot& values) {
  if (values.noise_source == NoiseSource::none) return {};
  return values.noise_source == NoiseSource::assumed ? 1.0 : 0.0;
}

Number unix_seconds(const std::optional<Time>& time) {
  return time ? Number(to_unix_seconds(*time)) : Number();
}
/// Absent before the first snapshot.
Number snapshot_time(const ExpositionInput& in) {
  return in.snapshot.time == Time{} ? Number() : Number(to_unix_seconds(in.snapshot.time));
}
Number clock_trusted(const ExpositionInput& in) { return in.snapshot.clock_trusted ? 1.0 : 0.0; }
Number clock_steps(const ExpositionInput& in) {
  return static_cast<double>(in.snapshot.clock_steps);
}
Number write_errors(const ExpositionInput& in) {
  return static_cast<double>(in.program.history_write_errors);
}
Number history_dropped(const ExpositionInput& in) {
  return static_cast<double>(in.program.history_dropped);
}
Number unauthorized(const ExpositionInput& in) { return static_cast<double>(in.http.password); }
Number web_config_successful(const ExpositionInput& in) {
  return in.http.web_config_successful ? 1.0 : 0.0;
}
Number reload_successful(const ExpositionInput& in) {
  return in.program.config_last_reload_successful ? 1.0 : 0.0;
}
Number reload_time(const ExpositionInput& in) {
  return unix_seconds(in.program.config_last_reload);
}
Number started(const ExpositionInput& in) { return unix_seconds(in.program.started); }
Number cpu(const ExpositionInput& in) { return in.process.cpu_seconds; }
Number resident(const ExpositionInput& in) { return in.process.resident_bytes; }
Number open_fds(const ExpositionInput& in) { return in.process.open_fds; }
Number max_fds(const ExpositionInput& in) { return in.process.max_fds; }

double last_push(const PushTally& push) { return to_unix_seconds(push.last_success); }
double push_behind(const PushTally& push) { return duration_to_seconds(push.behind); }

struct Entry {
  Family family;
  Source from;
};

using enum MetricKind;

constexpr std::array kTable = std::to_array<Entry>({
    // One link.
    {{"fadeward_link_up", gauge, "",
      "1 while the link has reported within its silent time, else 0."},
     source::LinkUp{}},
    {{"fadeward_link_info", info, "", "1, with the port of the link as a label."},
     source::LinkInfo{}},
    {{"fadeward_link_upkeep", gauge, "", "1 inside a configured upkeep period, else 0."},
     source::LinkDerived{upkeep}},
    {{"fadeward_link_last_report_timestamp_seconds", gauge, "seconds",
      "Unix time of the newest report of the link."},
     source::LinkDerived{last_report}},
    {{"fadeward_link_expected_interval_seconds", gauge, "seconds",
      "Interval between reports, configured or learned."},
     source::LinkDerived{expected_interval}},
    {{"fadeward_link_latency_seconds", gauge, "seconds",
      "Round trip of an acknowledged frame, median of the last hour."},
     source::LinkGauge{&LinkSnapshot::latency_s}},
    {{"fadeward_link_supply_volts", gauge, "volts", "Supply voltage last reported."},
     source::LinkGauge{&LinkSnapshot::supply_v}},
    {{"fadeward_link_temperature_celsius", gauge, "celsius", "Device temperature last reported."},
     source::LinkGauge{&LinkSnapshot::temperature_c}},
    {{"fadeward_link_uptime_seconds", gauge, "seconds",
      "Time since the radio restarted, as last reported."},
     source::LinkGauge{&LinkSnapshot::uptime_s}},
    {{"fadeward_link_spreading_factor", gauge, "", "Spreading factor of the newest frame."},
     source::LinkDerived{spreading_factor}},
    {{"fadeward_link_bandwidth_hertz", gauge, "hertz", "Bandwidth of the newest frame."},
     source::LinkGauge{&LinkSnapshot::bandwidth_hz}},
    {{"fadeward_link_reports_total", counter, "", "Reports taken for the link."},
     source::LinkCounter{&LinkSnapshot::reports_total}},
    {{"fadeward_link_reports_repeated_total", counter, "",
      "Reports that told nothing new, with a sequence number already seen."},
     source::LinkCounter{&LinkSnapshot::repeats_total}},
    {{"fadeward_link_reports_late_total", counter, "", "Reports that came after younger ones."},
     source::LinkCounter{&LinkSnapshot::late_total}},
    {{"fadeward_link_restarts_total", counter, "", "Restarts of a radio seen in its counters."},
     source::LinkCounter{&LinkSnapshot::restarts_total}},
    {{"fadeward_link_foreign_frames_total", counter, "",
      "Frames refused because network identity or key did not match."},
     source::LinkCounter{&LinkSnapshot::foreign_total}},

    // One direction of a link.
    {{"fadeward_link_signal_dbm", gauge, "dbm",
      "Wanted signal at the receiver of this direction without noise, median, in dBm."},
     source::DirectionGauge{&DirectionSnapshot::signal_dbm}},
    {{"fadeward_link_noise_dbm", gauge, "dbm",
      "Noise at the receiver of this direction, median, in dBm."},
     source::DirectionGauge{&DirectionSnapshot::noise_dbm}},
    {{"fadeward_link_noise_assumed", gauge, "",
      "1 where no noise is measured and the margin cannot see interference, 0 where it is "
      "measured."},
     source::DirectionDerived{noise_assumed}},
    {{"fadeward_link_margin_db", gauge, "db",
      "Fade margin over all frames sent in the window, lost ones included, median, in dB."},
     source::DirectionGauge{&DirectionSnapshot::margin_db}},
    {{"fadeward_link_margin_stderr_db", gauge, "db",
      "Standard error of fadeward_link_margin_db in dB; calibration of the receiver is not in it."},
     source::DirectionGauge{&DirectionSnapshot::margin_stderr_db}},
    {{"fadeward_link_margin_low_db", gauge, "db",
      "Fade margin exceeded by 99 % of the frames in the window, in dB."},
     source::DirectionGauge{&DirectionSnapshot::margin_low_db}},
    {{"fadeward_link_margin_window_db", gauge, "db",
      "Median fade margin over the last 5 minutes, 1 hour and 24 hours, in dB."},
     source::WindowGauge{&Rolling::margin_db}},
    {{"fadeward_link_budget_margin_db", gauge, "db",
      "Fade margin that the link budget promises, in dB."},
     source::DirectionGauge{&DirectionSnapshot::budget_margin_db}},
    {{"fadeward_link_margin_deficit_db", gauge, "db",
      "Budgeted margin minus the measured one, in dB; positive is worse than planned."},
     source::DirectionGauge{&DirectionSnapshot::deficit_db}},
    {{"fadeward_link_reserve_db", gauge, "db",
      "Margin with unused power and the gain of the slowest permitted rate, in dB; only where "
      "these "
      "are configured."},
     source::DirectionGauge{&DirectionSnapshot::reserve_db}},
    {{"fadeward_link_loss_ratio", gauge, "ratio", "Frames lost per transmission, 0 to 1."},
     source::DirectionGauge{&DirectionSnapshot::loss_ratio}},
    {{"fadeward_link_loss_window_ratio", gauge, "ratio",
      "Frames lost per transmission over the last 5 minutes, 1 hour and 24 hours, 0 to 1."},
     source::WindowGauge{&Rolling::loss_ratio}},
    {{"fadeward_link_retry_ratio", gauge, "ratio",
      "Repeats per transmission of the sender of this direction in the last hour, 0 to 1."},
     source::DirectionGauge{&DirectionSnapshot::retry_ratio}},
    {{"fadeward_link_trend_db_per_day", gauge, "db_per_day",
      "Trend of the margin over the last 30 days in dB per day."},
     source::DirectionGauge{&DirectionSnapshot::trend_db_per_day}},
    {{"fadeward_link_tx_power_dbm", gauge, "dbm",
      "Conducted power last reported for the sender of this direction, in dBm."},
     source::DirectionGauge{&DirectionSnapshot::tx_power_dbm}},
    {{"fadeward_link_window_seconds", gauge, "seconds",
      "Length of the window that margin, signal, noise and loss refer to."},
     source::DirectionDerived{window_seconds}},
    {{"fadeward_link_window_frames", gauge, "frames",
      "Frames with a measurement inside that window."},
     source::DirectionDerived{window_frames}},
    {{"fadeward_link_frames_total", counter, "", "Frames of this direction with a measurement."},
     source::DirectionCounter{&DirectionSnapshot::frames_total}},
    {{"fadeward_link_frames_lost_total", counter, "",
      "Transmissions of this direction known to be lost."},
     source::DirectionCounter{&DirectionSnapshot::frames_lost_total}},
    {{"fadeward_link_retries_total", counter, "", "Repeats sent by the sender of this direction."},
     source::DirectionCounter{&DirectionSnapshot::retries_total}},

    // One hop channel of a direction, where the settings ask for it.
    {{"fadeward_link_channel_signal_dbm", gauge, "dbm",
      "Wanted signal on one hop channel, mean over the window, in dBm."},
     source::ChannelGauge{channel_signal}},
    {{"fadeward_link_channel_noise_dbm", gauge, "dbm",
      "Noise on one hop channel, mean over the window, in dBm."},
     source::ChannelGauge{channel_noise}},
    {{"fadeward_link_channel_window_frames", gauge, "frames",
      "Frames of the window that were heard on one hop channel."},
     source::ChannelGauge{channel_frames}},

    // Alerts of links and ports.
    {{"fadeward_alert_active", gauge, "", "1 while the alert is active, else 0."},
     source::AlertActive{}},
    {{"fadeward_alert_severity", gauge, "",
      "Severity of the alert: 0 not active, 1 info, 2 warning, 3 critical."},
     source::AlertSeverity{}},
    {{"fadeward_alert_cause", gauge, "", "1 for the judged cause of an active alert."},
     source::AlertCause{}},

    // One port.
    {{"fadeward_port_up", gauge, "", "1 while the port is open, else 0."}, source::PortUp{}},
    {{"fadeward_port_faults_total", counter, "", "Times the port went down."},
     source::PortCounter{&PortSnapshot::faults}},
    {{"fadeward_port_discarded_bytes_total", counter, "bytes",
      "Bytes thrown away between the radio and the decoder, by reason."},
     source::PortDiscarded{}},
    {{"fadeward_reports_rejected_total", counter, "", "Frames or reports not used, by reason."},
     source::PortRejected{}},
    {{"fadeward_reports_unmatched_total", counter, "", "Reports of links that are not configured."},
     source::PortCounter{&PortSnapshot::unmatched}},
    {{"fadeward_reports_retimed_total", counter, "",
      "Reports whose own time could not be believed; the time of arrival was used."},
     source::PortCounter{&PortSnapshot::retimed}},
    {{"fadeward_report_values_discarded_total", counter, "",
      "Single values of reports left out because they were impossible."},
     source::PortCounter{&PortSnapshot::values_discarded}},
    {{"fadeward_report_unknown_keys_total", counter, "", "Keys of reports that nobody knows."},
     source::PortCounter{&PortSnapshot::unknown_keys}},

    // The program.
    {{"fadeward_snapshot_timestamp_seconds", gauge, "seconds",
      "Unix time of the state behind these metrics; it stands still if judging has stopped."},
     source::ProgramNumber{snapshot_time}},
    {{"fadeward_clock_trusted", gauge, "", "1 while the system clock is believed, else 0."},
     source::ProgramNumber{clock_trusted}},
    {{"fadeward_clock_steps_total", counter, "", "Steps of the system clock noticed."},
     source::ProgramNumber{clock_steps}},
    {{"fadeward_history_write_errors_total", counter, "", "Failed writes to the history."},
     source::ProgramNumber{write_errors}},
    {{"fadeward_history_dropped_total", counter, "",
      "Quarter hours, events and marks that will never be in the history: more waited for a disk "
      "or a believable clock than may wait, or the machine stopped before it knew the time."},
     source::ProgramNumber{history_dropped}},
    {{"fadeward_push_requests_total", counter, "",
      "Requests to a push target that came to an end, one way or the other."},
     source::PushCounter{&PushTally::requests}},
    {{"fadeward_push_failures_total", counter, "",
      "Requests to a push target that it did not accept or never answered."},
     source::PushCounter{&PushTally::failures}},
    {{"fadeward_push_sent_total", counter, "",
      "Alerts or samples in requests that the push target accepted."},
     source::PushCounter{&PushTally::sent}},
    {{"fadeward_push_last_success_timestamp_seconds", gauge, "seconds",
      "Unix time of the last request that the push target accepted; 0 before the first."},
     source::PushGauge{last_push}},
    {{"fadeward_push_behind_seconds", gauge, "seconds",
      "Age of the oldest quarter hour that still waits for the push target; 0: none waits."},
     source::PushGauge{push_behind}},
    {{"fadeward_push_dropped_total", counter, "",
      "Samples or alerts that a push target will never get, by reason."},
     source::Pushes{}},
    {{"fadeward_http_connections_dropped_total", counter, "",
      "HTTP connections ended early or never served, by reason."},
     source::HttpDropped{}},
    {{"fadeward_http_unauthorized_total", counter, "",
      "HTTP requests without the right user name and password."},
     source::ProgramNumber{unauthorized}},
    {{"fadeward_web_config_last_reload_successful", gauge, "",
      "1 if the newest attempt to read the web-config file succeeded or there is none, else 0."},
     source::ProgramNumber{web_config_successful}},
    {{"fadeward_config_last_reload_successful", gauge, "",
      "1 if the newest attempt to load the configuration succeeded, else 0."},
     source::ProgramNumber{reload_successful}},
    {{"fadeward_config_last_reload_success_timestamp_seconds", gauge, "seconds",
      "Unix time of the last successful load of the configuration."},
     source::ProgramNumber{reload_time}},
    {{"fadeward_build_info", info, "", "1, with version, revision and compiler as labels."},
     source::Build{}},
    {{"process_cpu_seconds_total", counter, "seconds", "User and system CPU time spent."},
     source::ProgramNumber{cpu}},
    {{"process_resident_memory_bytes", gauge, "bytes", "Resident memory size."},
     source::ProgramNumber{resident}},
    {{"process_open_fds", gauge, "", "Open file descriptors."}, source::ProgramNumber{open_fds}},
    {{"process_max_fds", gauge, "", "Most file descriptors that may be open."},
     source::ProgramNumber{max_fds}},
    {{"process_start_time_seconds", gauge, "seconds", "Unix time of the start of the process."},
     source::ProgramNumber{started}},
});

template <class Part>
auto column(Part Entry::*part) {
  std::array<Part, kTable.size()> out{};
  for (std::size_t i = 0; i < kTable.size(); ++i) out[i] = kTable[i].*part;
  return out;
}

std::string_view without(std::string_view name, std::string_view ending) {
  return name.ends_with(ending) ? name.substr(0, name.size() - ending.size()) : name;
}

}  // namespace

std::span<const Family> families() {
  static const auto all = column(&Entry::family);
  return all;
}

std::span<const Source> sources() {
  static const auto all = column(&Entry::from);
  return all;
}

std::string_view openmetrics_name(const Family& family) {
  switch (family.kind) {
    case MetricKind::counter: return without(family.name, "_total");
    case MetricKind::info: return without(family.name, "_info");
    case MetricKind::gauge: break;
  }
  return family.name;
}

}  // namespace fadeward::publish
