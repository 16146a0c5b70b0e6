// Checked settings: what the configuration file says, in plain types with units.
//
// `config` fills these; every room is built from its own part and never sees YAML. Defaults stand
// here, once. An empty optional means: not said in the file.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "fadeward/base/field.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward {

using namespace std::chrono_literals;

// ---- ports ---------------------------------------------------------------------------------

enum class SourceKind : std::uint8_t { serial, tcp, udp, file, stdin_stream };

struct SerialSettings {
  enum class Parity : std::uint8_t { none, even, odd };
  enum class Flow : std::uint8_t { none, rts_cts, xon_xoff };
  std::uint32_t baud = 9600;    ///< any rate the device can do, not only the named ones
  int data_bits = 8;            ///< 5..8
  int stop_bits = 1;            ///< 1 or 2
  Parity parity = Parity::none;
  Flow flow = Flow::none;
  bool operator==(const SerialSettings&) const = default;
};

struct PollSettings {
  std::string send;                 ///< bytes written as they are (escapes already resolved)
  Duration every = 60s;
  Duration quiet_before = 1s;       ///< nothing may have arrived for this long before sending
  bool operator==(const PollSettings&) const = default;
};

struct FramingSettings {
  enum class Kind : std::uint8_t { lines, cobs, hdlc };
  enum class Crc : std::uint8_t { none, crc16_x25, crc16_ccitt_false, crc32 };
  Kind kind = Kind::lines;
  std::size_t max_bytes = 65536;    ///< longest frame; longer ones are discarded as too_long
  std::string block_end;            ///< lines: RE2 expression; lines are joined with '\n' up to and
                                    ///< including the one that matches. Empty: every line a frame
  Crc crc = Crc::none;              ///< cobs: check at the end of the decoded frame, little endian
  bool operator==(const FramingSettings&) const = default;
};

enum class DecoderKind : std::uint8_t { json, pairs, csv, pattern, senml, packed };

/// How one canonical key is found and turned into its unit: (bits of raw) * scale + offset.
struct FieldRule {
  std::string from;                 ///< key, column, group, SenML name; empty: the canonical name
  double scale = 1;
  double offset = 0;
  std::optional<std::pair<int, int>> bits;   ///< {lowest bit, count} of the raw integer
  bool operator==(const FieldRule&) const = default;
};

enum class PackedType : std::uint8_t { u8, i8, u16, i16, u24, i24, u32, i32, u64, i64, f32, f64 };

struct PackedField {
  std::string name;                 ///< canonical key, "time", "link", or a name a FieldRule refers to
  std::size_t at = 0;               ///< offset in the frame, bytes
  PackedType type = PackedType::u8;
  bool big_endian = false;
  bool operator==(const PackedField&) const = default;
};

struct DecoderSettings {
  DecoderKind kind = DecoderKind::json;
  std::vector<std::string> patterns;           ///< pattern: RE2 expressions, the first match wins
  std::string separator = ",";                 ///< csv: between columns; pairs: see pair_separators
  std::string pair_separators = " \t,;";       ///< pairs: any of these between pairs
  std::vector<std::string> columns;            ///< csv: names; empty: the first line is the header
  std::vector<PackedField> packed;
  std::size_t packed_min_bytes = 0;            ///< packed: shorter frames are refused (0: as needed)
  std::map<std::string, FieldRule> fields;     ///< key: canonical name, also "time" and "link"
  bool operator==(const DecoderSettings&) const = default;
};

struct PortSettings {
  std::string name;
  SourceKind source = SourceKind::stdin_stream;
  std::string path;                 ///< serial: device; file: path
  std::string host;                 ///< tcp, udp; numeric or name
  std::uint16_t tcp_udp_port = 0;
  std::vector<std::string> allow;   ///< udp: addresses or networks (CIDR) that may send; empty:
                                    ///< only loopback may be bound
  SerialSettings serial;
  FramingSettings framing;
  DecoderSettings decoder;
  std::optional<PollSettings> poll;
  Duration silent = 0s;             ///< PortFault also when open but without a byte this long; 0: never
  bool operator==(const PortSettings&) const = default;
};

// ---- links ---------------------------------------------------------------------------------

struct MatchSettings {
  std::string port;                 ///< empty: any port
  std::string link;                 ///< the radio's own name for it; empty: the link's name, or,
                                    ///< where the port carries one link only, any report
};

/// The slowest rate that a link may fall back to. What is not said stays as it is in use.
struct SlowestRate {
  std::optional<int> spreading_factor;         ///< css: 5..12
  std::optional<double> bandwidth_hz;
  std::optional<double> bit_rate_bps;          ///< other modulations
  bool said() const { return spreading_factor || bandwidth_hz || bit_rate_bps; }
  bool operator==(const SlowestRate&) const = default;
};

struct RadioSettings {
  enum class Modulation : std::uint8_t { unspecified, css, fsk };
  enum class Rssi : std::uint8_t { total, wanted };   ///< what the reported RSSI contains
  enum class Seq : std::uint8_t { frames, messages };
  Modulation modulation = Modulation::unspecified;
  std::optional<int> spreading_factor;         ///< css: 5..12
  std::optional<double> bandwidth_hz;
  std::optional<double> bit_rate_bps;
  std::optional<double> noise_figure_db;
  std::optional<double> required_snr_db;
  std::optional<double> sensitivity_dbm;
  std::optional<double> snr_ceiling_db;        ///< reported SNR at or above this says only "at least"
  std::optional<double> max_power_dbm;
  SlowestRate slowest;                         ///< nothing said: rates do not count as a reserve
  Rssi rssi = Rssi::total;
  Seq seq = Seq::frames;
  double level_offset_db = 0;                  ///< added to every reported level of the near end
  double far_level_offset_db = 0;              ///< the same for the far end
  std::optional<int> seq_bits;                 ///< wrap width of `seq`; empty: learned
  std::optional<int> counter_bits;             ///< wrap width of the other counters; empty: learned
};

struct SiteSettings {
  std::optional<double> power_dbm;             ///< conducted
  double antenna_dbi = 0;
  double feeder_db = 0;
  double polarisation_db = 0;
  std::optional<double> height_m;              ///< of the antenna above ground
  std::optional<double> noise_figure_db;
  double man_made_noise_db = 0;                ///< what its antenna hears, above thermal noise (Fa)
};

/// What ITU-R P.530-19 section 2.3 asks of the place of a path, from the maps of the Recommendation
/// or measured.
struct MultipathSettings {
  std::optional<double> log10_k;               ///< geoclimatic factor K
  std::optional<double> dn75;                  ///< refractivity statistic, N-units
};

struct BudgetSettings {
  std::optional<double> inbound_signal_dbm;    ///< the expected level given outright
  std::optional<double> outbound_signal_dbm;
  std::optional<double> frequency_mhz;
  std::optional<double> distance_km;
  SiteSettings near;
  SiteSettings far;
  std::string profile;                         ///< path of a terrain profile, resolved against the file
  double foliage_m = 0;
  double extra_loss_db = 0;
  MultipathSettings multipath;
  std::optional<double> availability;          ///< target, 0..1
};

struct RuleSettings {
  std::string set;                             ///< empty: no rule set
  std::optional<int> channels;
  std::optional<double> dwell_s;
  std::optional<double> duty_ratio;
  std::optional<double> hop_clock_s;           ///< how far hop clocks may be apart; empty: 2 ms
};

/// A threshold alert. For quantities where less is worse (margin) the thresholds are floors, for
/// the others ceilings. An empty level never raises.
struct ThresholdSettings {
  std::optional<double> warning;
  std::optional<double> critical;
  double clear_by = 0;                         ///< how far back beyond the threshold before clearing
  Duration hold = 15min;                       ///< the condition must last this long, both ways
};

struct AlertSettings {
  ThresholdSettings margin_db{10.0, 5.0, 2.0, 15min};
  ThresholdSettings deficit_db{10.0, {}, 2.0, 12h};
  ThresholdSettings loss_ratio{0.10, 0.30, 0.05, 15min};
  ThresholdSettings retry_ratio{0.30, {}, 0.05, 15min};
  ThresholdSettings latency_s{{}, {}, 0.0, 15min};
  ThresholdSettings foreign_per_hour{10.0, {}, 2.0, 0min};
  std::optional<Duration> silent;              ///< empty: three times `expect`, at least 15 min
  Duration forecast_horizon = 720h;            ///< MarginForecastLow: 30 days
};

struct UpkeepPeriod {
  Time from{};
  Time to{};
  std::string note;
};

struct BaselineSettings {
  bool commissioning = true;                   ///< the first 14 days; else the two dates
  Time from{};
  Time to{};
  /// Measured when the link was proved, no key of the file; stands until the baseline is complete.
  std::array<std::optional<double>, kDirections> proved_margin_db;
};

struct LinkSettings {
  std::string name;
  MatchSettings match;
  std::optional<Duration> expect;              ///< interval of reports; empty: learned
  RadioSettings radio;
  BudgetSettings budget;
  RuleSettings rules;
  AlertSettings alerts;
  BaselineSettings baseline;
  std::vector<UpkeepPeriod> upkeep;
  std::string via;                             ///< link of the hop before; empty: direct
  bool moving = false;
};

// ---- the whole -----------------------------------------------------------------------------

struct HttpSettings {
  std::string address = "127.0.0.1";
  std::uint16_t port = 10868;                  ///< 0: any free port (printed in the log)
  std::string web_config;                      ///< path; empty: plain HTTP
  bool enable_reload = false;                  ///< POST /-/reload
  bool disabled = false;                       ///< listen: "" serves nothing
};

struct MetricsSettings {
  bool channels = false;                       ///< families with a series for each hop channel
};

struct HistorySettings {
  std::string dir;                             ///< empty: nothing is kept over a restart
  Duration keep = 24h * 365 * 5;               ///< levels and counts: hours
  std::optional<Duration> keep_quarters;       ///< quarter hours, then hours; empty: a year
  std::optional<Duration> keep_events;         ///< events, upkeep, restarts; empty: as `keep`
  std::uint64_t max_bytes = 0;                 ///< the oldest month goes when it is more; 0: any

  bool operator==(const HistorySettings&) const = default;
};

/// A server that results are pushed to. Secrets stay in their files: only paths stand here.
struct WebTarget {
  std::string url;                             ///< http or https, without user information
  std::string user;                            ///< empty: no basic authentication
  std::string password_file;                   ///< its first line; read anew at each request
  std::string ca_file;                         ///< https: authorities (PEM) instead of the system's
  bool operator==(const WebTarget&) const = default;
};

struct AlertmanagerTarget : WebTarget {
  bool operator==(const AlertmanagerTarget&) const = default;
};

struct RemoteWriteSettings : WebTarget {
  Duration interval = 60s;                     ///< between live samples
  bool out_of_order = false;                   ///< the server takes samples older than its newest
  Duration max_sample_age = 1h;                ///< older ones are not sent; its window, if it has one
  bool operator==(const RemoteWriteSettings&) const = default;
};

struct PushSettings {
  std::vector<AlertmanagerTarget> alertmanagers;
  std::optional<RemoteWriteSettings> remote_write;
};

struct Settings {
  std::string file;                            ///< where they were read from, for messages
  std::map<std::string, std::string> external_labels;
  HttpSettings http;
  MetricsSettings metrics;                     ///< of scrapes and pushes alike
  HistorySettings history;
  PushSettings push;
  std::vector<PortSettings> ports;
  std::vector<LinkSettings> links;
};

}  // namespace fadeward
