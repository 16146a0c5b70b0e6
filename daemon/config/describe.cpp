#include "fadeward/config/describe.hpp"

#include <algorithm>
#include <string_view>
#include <unordered_map>

#include "address.hpp"
#include "decoder_section.hpp"
#include "fadeward/base/decibel.hpp"
#include "fadeward/base/text.hpp"
#include "scalar.hpp"
#include "words.hpp"

namespace fadeward::config {
namespace {

// ---- laying out ------------------------------------------------------------------------------

std::string with_unit(double value, std::string_view unit) {
  return rounded_text(value, 3) + ' ' + std::string(unit);
}

// Joins what is known with commas; empty parts are left out.
class Phrase {
 public:
  Phrase& add(std::string_view words) {
    if (!words.empty()) text_ += (text_.empty() ? "" : ", ") + std::string(words);
    return *this;
  }
  template <class V>
  Phrase& add_if(const std::optional<V>& value, std::string_view before, std::string_view unit) {
    if (value) add(std::string(before) + with_unit(static_cast<double>(*value), unit));
    return *this;
  }
  std::string or_else(std::string_view nothing) const {
    return text_.empty() ? std::string(nothing) : text_;
  }

 private:
  std::string text_;
};

class Page {
 public:
  void heading(std::string_view words) {
    text_ += (text_.empty() ? "" : "\n") + std::string(words) + '\n';
  }
  void row(std::string_view label, std::string_view words) {
    constexpr std::size_t kLabelWidth = 16;
    if (words.empty()) return;
    std::string padded(label);
    padded.resize(std::max(kLabelWidth, padded.size() + 1), ' ');
    text_ += "  " + padded + std::string(words) + '\n';
  }
  void note(std::string_view words) { text_ += "  - " + std::string(words) + '\n'; }
  std::string take() { return std::move(text_); }

 private:
  std::string text_;
};

// ---- the program -------------------------------------------------------------------------------

std::string http_words(const HttpSettings& http) {
  if (http.disabled) return "nothing is served";
  return Phrase()
      .add(endpoint_text(http.address, http.port))
      .add(open_to_network(http) ? "reachable from other machines" : "this machine only")
      .add(http.web_config.empty() ? "no TLS, no passwords"
                                   : "TLS and passwords as in " + printable(http.web_config))
      .add(http.enable_reload ? "reload over HTTP allowed" : "reload by SIGHUP only")
      .or_else("");
}

// Years where they come out even: "5y" instead of "1825d".
std::string long_span(Duration span) {
  constexpr Duration kYear = 24h * 365;
  const bool years = span >= kYear && span % kYear == Duration{0};
  return years ? std::to_string(span / kYear) + "y" : format_span(span);
}

std::string history_words(const HistorySettings& history) {
  if (history.dir.empty()) return "none: nothing is kept over a restart";
  Phrase out;
  out.add(printable(history.dir)).add("kept for " + long_span(history.keep));
  if (history.keep_quarters)
    out.add("quarter hours for " + long_span(*history.keep_quarters) + ", then hours");
  if (history.keep_events && *history.keep_events > history.keep)
    out.add("events for " + long_span(*history.keep_events));
  if (history.max_bytes > 0)
    out.add("at most " + std::to_string(history.max_bytes / 1'000'000) + " MB");
  return out.or_else("");
}

/// Without the query, which may hold a secret.
std::string public_words(const WebTarget& target) {
  const auto query = target.url.find('?');
  return printable(target.url.substr(0, query)) + (query == std::string::npos ? "" : "?...");
}

std::string access_words(const WebTarget& target) {
  Phrase out;
  if (!target.user.empty())
    out.add("as user " + printable(target.user) + " with the password in " +
            printable(target.password_file));
  if (!target.ca_file.empty()) out.add("authorities of " + printable(target.ca_file));
  const std::string words = out.or_else("");
  return words.empty() ? words : " (" + words + ")";
}

std::string push_words(const PushSettings& push) {
  Phrase out;
  for (const auto& target : push.alertmanagers)
    out.add("alerts to " + public_words(target) + access_words(target));
  if (const auto& write = push.remote_write)
    out.add("samples to " + public_words(*write) + access_words(*write) + " every " +
            format_span(write->interval) +
            (write->out_of_order ? " (late ones too," : " (in order only,") + " none older than " +
            format_span(write->max_sample_age) + ")");
  return out.or_else("none");
}

std::string label_words(const Settings& settings) {
  Phrase out;
  for (const auto& [label, value] : settings.external_labels) out.add(label + "=" + quoted(value));
  return out.or_else("none");
}

// ---- ports -------------------------------------------------------------------------------------

std::string serial_words(const SerialSettings& serial) {
  using S = SerialSettings;
  const std::string_view parity = serial.parity == S::Parity::none   ? "no parity"
                                  : serial.parity == S::Parity::even ? "even parity"
                                                                     : "odd parity";
  const std::string_view flow = serial.flow == S::Flow::none      ? "no flow control"
                                : serial.flow == S::Flow::rts_cts ? "flow control by RTS/CTS"
                                                                  : "flow control by XON/XOFF";
  return Phrase()
      .add(std::to_string(serial.baud) + " baud")
      .add(counted(static_cast<std::size_t>(serial.data_bits), "data bit"))
      .add(parity)
      .add(counted(static_cast<std::size_t>(serial.stop_bits), "stop bit"))
      .add(flow)
      .or_else("");
}

std::string source_words(const PortSettings& port) {
  switch (port.source) {
    case SourceKind::serial:
      return "serial device " + printable(port.path) + ", " + serial_words(port.serial);
    case SourceKind::tcp: return "TCP connection to " + endpoint_text(port.host, port.tcp_udp_port);
    case SourceKind::udp:
      return "UDP datagrams at " + endpoint_text(port.host, port.tcp_udp_port) +
             (port.allow.empty() ? "" : " from " + listed({port.allow.begin(), port.allow.end()}));
    case SourceKind::file: return "file " + printable(port.path);
    case SourceKind::stdin_stream: return "standard input";
  }
  return {};
}

std::string_view crc_words(FramingSettings::Crc crc) {
  switch (crc) {
    case FramingSettings::Crc::none: return "no checksum";
    case FramingSettings::Crc::crc16_x25: return "checksum CRC-16/X-25";
    case FramingSettings::Crc::crc16_ccitt_false: return "checksum CRC-16/CCITT-FALSE";
    case FramingSettings::Crc::crc32: return "checksum CRC-32";
  }
  return {};
}

std::string framing_words(const FramingSettings& framing) {
  using Kind = FramingSettings::Kind;
  Phrase out;
  if (framing.kind == Kind::lines) out.add("lines");
  if (framing.kind == Kind::cobs) out.add("COBS frames").add(crc_words(framing.crc));
  if (framing.kind == Kind::hdlc) out.add("HDLC frames");
  if (!framing.block_end.empty())
    out.add("joined up to one that matches " + quoted(framing.block_end));
  return out.add("at most " + std::to_string(framing.max_bytes) + " bytes").or_else("");
}

std::string decoder_words(const DecoderSettings& decoder) {
  Phrase out;
  out.add(name_of(decoder.kind));
  if (decoder.kind == DecoderKind::pattern)
    out.add(counted(decoder.patterns.size(), "expression") + ", the first match wins");
  if (decoder.kind == DecoderKind::csv)
    out.add(decoder.columns.empty() ? "column names from the first line"
                                    : counted(decoder.columns.size(), "named column"));
  if (decoder.kind == DecoderKind::csv) out.add("separated by " + quoted(decoder.separator));
  if (decoder.kind == DecoderKind::packed) out.add(counted(decoder.packed.size(), "value"));
  return out.or_else("");
}

// "s bits 3..0 * 0.5 - 160"
std::string rule_words(std::string_view key, const FieldRule& rule) {
  std::string out = printable(rule.from.empty() ? key : std::string_view(rule.from));
  if (rule.bits)
    out += " bits " + std::to_string(rule.bits->first + rule.bits->second - 1) + ".." +
           std::to_string(rule.bits->first);
  if (rule.scale != 1) out += " * " + number_text(rule.scale);
  if (rule.offset != 0)
    out += (rule.offset < 0 ? " - " : " + ") +
           number_text(rule.offset < 0 ? -rule.offset : rule.offset);
  return out;
}

std::string poll_words(const PortSettings& port) {
  if (!port.poll) return {};
  return "sends " + quoted(port.poll->send) + " every " + format_span(port.poll->every) +
         " after " + format_span(port.poll->quiet_before) + " of quiet";
}

std::string links_of_port(const Settings& settings, const PortSettings& port) {
  constexpr std::size_t kShown = 8;
  Phrase out;
  std::size_t count = 0;
  for (const auto& link : settings.links) {
    if (!may_carry(port, link)) continue;
    if (++count <= kShown) out.add(printable(link.name));
  }
  if (count > kShown) out.add("and " + std::to_string(count - kShown) + " more");
  return out.or_else("none");
}

void add_port(Page& page, const Settings& settings, const PortSettings& port) {
  page.heading("Port " + printable(port.name));
  page.row("source", source_words(port));
  page.row("framing", framing_words(port.framing));
  page.row("decoder", decoder_words(port.decoder));
  for (const auto& [key, rule] : port.decoder.fields)
    page.row("  " + key, "= " + rule_words(key, rule));
  page.row("poll", poll_words(port));
  page.row("fault", port.silent > 0s
                        ? "when closed, or without a byte for " + format_span(port.silent)
                        : std::string("when closed"));
  page.row("links", links_of_port(settings, port));
}

// ---- links -------------------------------------------------------------------------------------

// How many links name each port; "" counts those of any port.
using LinkCounts = std::unordered_map<std::string_view, std::size_t>;

LinkCounts count_links(const Settings& settings) {
  LinkCounts counts;
  for (const auto& link : settings.links) ++counts[link.match.port];
  return counts;
}

bool is_only_link(const LinkSettings& link, const Settings& settings, const LinkCounts& counts) {
  if (link.match.port.empty()) return settings.links.size() == 1;
  return counts.count("") == 0 && counts.at(link.match.port) == 1;
}

std::string match_words(const LinkSettings& link, bool only_link) {
  std::string words =
      link.match.port.empty() ? "from any port" : "from port " + printable(link.match.port);
  words += ", named " + quoted(link.match.link.empty() ? link.name : link.match.link);
  return words + (link.match.link.empty() && only_link ? " or without a name" : "");
}

std::string timing_words(const LinkSettings& link) {
  const std::string expected =
      link.expect ? "one every " + format_span(*link.expect) : "interval is learned";
  if (link.alerts.silent) return expected + ", silent after " + format_span(*link.alerts.silent);
  if (!link.expect) return expected + ", silent after three times that, at least 15m";
  const Duration silent = std::max<Duration>(*link.expect * 3, 15min);
  return expected + ", silent after " + format_span(silent);
}

std::string radio_words(const RadioSettings& radio) {
  using M = RadioSettings::Modulation;
  Phrase out;
  out.add(radio.modulation == M::css   ? "chirp spread spectrum"
          : radio.modulation == M::fsk ? "frequency shift keying"
                                       : "modulation not said");
  if (radio.spreading_factor)
    out.add("spreading factor " + std::to_string(*radio.spreading_factor));
  if (radio.bandwidth_hz) out.add(with_unit(*radio.bandwidth_hz / 1000, "kHz wide"));
  if (radio.bit_rate_bps) out.add(with_unit(*radio.bit_rate_bps / 1000, "kbit/s"));
  out.add_if(radio.max_power_dbm, "up to ", "dBm");
  return out.or_else("");
}

/// What is judged beside the margin that is measured: what the link could still add to it.
std::string reserve_words(const RadioSettings& radio) {
  const SlowestRate& slowest = radio.slowest;
  Phrase rate, out;
  if (slowest.spreading_factor)
    rate.add("spreading factor " + std::to_string(*slowest.spreading_factor));
  if (slowest.bandwidth_hz) rate.add(with_unit(*slowest.bandwidth_hz / 1000, "kHz"));
  if (slowest.bit_rate_bps) rate.add(with_unit(*slowest.bit_rate_bps / 1000, "kbit/s"));
  out.add_if(radio.max_power_dbm, "unused power up to ", "dBm");
  if (slowest.said()) out.add("gain of the slowest rate (" + rate.or_else("") + ")");
  const std::string parts = out.or_else("");
  return parts.empty() ? parts : "counts with the margin: " + parts;
}

std::string levels_words(const RadioSettings& radio) {
  Phrase out;
  out.add(radio.rssi == RadioSettings::Rssi::total ? "RSSI is wanted signal plus noise"
                                                   : "RSSI is the wanted signal alone");
  if (radio.level_offset_db != 0)
    out.add("near end corrected by " + with_unit(radio.level_offset_db, "dB"));
  if (radio.far_level_offset_db != 0)
    out.add("far end corrected by " + with_unit(radio.far_level_offset_db, "dB"));
  out.add_if(radio.snr_ceiling_db, "SNR says no more from ", "dB");
  return out.or_else("");
}

// The floor that the near receiver has at least; used only where nothing is measured.
std::string noise_words(const LinkSettings& link) {
  const auto& figure =
      link.radio.noise_figure_db ? link.radio.noise_figure_db : link.budget.near.noise_figure_db;
  if (!figure) return "as measured; no noise figure is given to fall back on";
  if (!link.radio.bandwidth_hz)
    return "as measured; else thermal + noise figure " + with_unit(*figure, "dB") +
           " in the bandwidth of the reports";
  return "as measured; else " +
         rounded_text(receiver_noise_dbm(*link.radio.bandwidth_hz, *figure), 1) +
         " dBm (thermal in " + with_unit(*link.radio.bandwidth_hz / 1000, "kHz") +
         " + noise figure " + with_unit(*figure, "dB") + ")";
}

std::string needs_words(const RadioSettings& radio) {
  return Phrase()
      .add_if(radio.required_snr_db, "SNR of ", "dB")
      .add_if(radio.sensitivity_dbm, "level of ", "dBm")
      .or_else("");
}

std::string counter_words(const RadioSettings& radio) {
  Phrase out;
  out.add(radio.seq == RadioSettings::Seq::frames ? "seq counts transmissions"
                                                  : "seq counts messages (a gap: given up)");
  out.add(radio.seq_bits ? "seq wraps at " + std::to_string(*radio.seq_bits) + " bits"
                         : std::string("wrap of seq is learned"));
  out.add(radio.counter_bits ? "counters wrap at " + std::to_string(*radio.counter_bits) + " bits"
                             : std::string("wrap of counters is learned"));
  return out.or_else("");
}

std::string site_words(const SiteSettings& site) {
  Phrase out;
  out.add_if(site.power_dbm, "", "dBm");
  out.add("antenna " + with_unit(site.antenna_dbi, "dBi"));
  out.add("feeder " + with_unit(site.feeder_db, "dB"));
  if (site.polarisation_db != 0) out.add("polarisation " + with_unit(site.polarisation_db, "dB"));
  out.add_if(site.height_m, "", "m above ground");
  out.add_if(site.noise_figure_db, "noise figure ", "dB");
  if (site.man_made_noise_db > 0)
    out.add("man-made noise " + with_unit(site.man_made_noise_db, "dB above thermal"));
  return out.or_else("");
}

bool has_path(const BudgetSettings& budget) {
  return budget.frequency_mhz && budget.distance_km &&
         (budget.near.power_dbm || budget.far.power_dbm);
}

std::string budget_words(const BudgetSettings& budget) {
  Phrase out;
  out.add_if(budget.inbound_signal_dbm, "expected inbound ", "dBm");
  out.add_if(budget.outbound_signal_dbm, "expected outbound ", "dBm");
  out.add_if(budget.distance_km, "", "km");
  out.add_if(budget.frequency_mhz, "at ", "MHz");
  if (!budget.profile.empty()) out.add("terrain from " + printable(budget.profile));
  if (budget.foliage_m > 0) out.add(with_unit(budget.foliage_m, "m of foliage"));
  if (budget.extra_loss_db > 0) out.add(with_unit(budget.extra_loss_db, "dB of extra loss"));
  if (budget.multipath.log10_k)
    out.add("multipath with log10 K " + rounded_text(*budget.multipath.log10_k) + ", dN75 " +
            rounded_text(*budget.multipath.dn75));
  if (budget.availability)
    out.add("for " + rounded_text(*budget.availability * 100, 6) + " % of the time");
  return out.or_else("none");
}

std::string rule_set_words(const RuleSettings& rules) {
  Phrase out;
  if (!rules.set.empty()) out.add(printable(rules.set));
  if (rules.channels) out.add(counted(static_cast<std::size_t>(*rules.channels), "channel"));
  if (rules.dwell_s) out.add("dwell " + with_unit(*rules.dwell_s, "s"));
  if (rules.duty_ratio) out.add("duty " + with_unit(*rules.duty_ratio * 100, "%"));
  if (rules.hop_clock_s) out.add("hop clocks within " + with_unit(*rules.hop_clock_s * 1000, "ms"));
  return out.or_else("");
}

struct ThresholdWords {
  std::string_view label;
  std::string_view side;  // below, above
  std::string_view unit;
  double factor;  // from the stored ratio to what is printed
};

std::string threshold_words(const ThresholdSettings& alert, const ThresholdWords& words) {
  if (!alert.warning && !alert.critical) return "off";
  const auto level = [&](double value) { return with_unit(value * words.factor, words.unit); };
  const std::string side = std::string(words.side) + ' ';
  Phrase out;
  if (alert.warning) out.add("warning " + side + level(*alert.warning));
  if (alert.critical) out.add("critical " + side + level(*alert.critical));
  out.add("clears " + level(alert.clear_by) + " beyond");
  return out.add("held " + format_span(alert.hold)).or_else("");
}

void add_alerts(Page& page, const AlertSettings& alerts) {
  const auto add = [&](const ThresholdSettings& alert, const ThresholdWords& words) {
    page.row(words.label, threshold_words(alert, words));
  };
  add(alerts.margin_db, {"margin", "below", "dB", 1});
  add(alerts.deficit_db, {"deficit", "above", "dB", 1});
  add(alerts.loss_ratio, {"loss", "above", "%", 100});
  add(alerts.retry_ratio, {"retries", "above", "%", 100});
  add(alerts.latency_s, {"latency", "above", "s", 1});
  add(alerts.foreign_per_hour, {"foreign frames", "above", "per hour", 1});
  page.row("forecast", "margin within " + format_span(alerts.forecast_horizon));
}

std::string baseline_words(const LinkSettings& link) {
  if (link.moving) return "none: the site moves";
  if (link.baseline.commissioning) return "the first 14 days";
  return format_rfc3339(link.baseline.from) + " to " + format_rfc3339(link.baseline.to);
}

void add_link(Page& page, const LinkSettings& link, bool only_link) {
  page.heading("Link " + printable(link.name));
  page.row("reports", match_words(link, only_link));
  page.row("timing", timing_words(link));
  if (!link.via.empty()) page.row("via", printable(link.via) + ": levels belong to the last hop");
  if (link.moving) page.row("site", "moving: no judgement of path, baseline or trend");
  page.row("radio", radio_words(link.radio));
  page.row("reserve", reserve_words(link.radio));
  page.row("levels", levels_words(link.radio));
  page.row("noise floor", noise_words(link));
  page.row("required", needs_words(link.radio));
  page.row("counters", counter_words(link.radio));
  page.row("budget", budget_words(link.budget));
  if (has_path(link.budget)) {
    page.row("  near end", site_words(link.budget.near));
    page.row("  far end", site_words(link.budget.far));
  }
  page.row("rules", rule_set_words(link.rules));
  add_alerts(page, link.alerts);
  page.row("baseline", baseline_words(link));
  for (const auto& period : link.upkeep)
    page.row("upkeep", format_rfc3339(period.from) + " to " + format_rfc3339(period.to) +
                           (period.note.empty() ? "" : ": " + printable(period.note)));
}

}  // namespace

std::string describe(const Settings& settings) {
  Page page;
  page.heading(printable(settings.file) + ": " + counted(settings.ports.size(), "port") + ", " +
               counted(settings.links.size(), "link"));
  page.row("http", http_words(settings.http));
  if (settings.metrics.channels) page.row("metrics", "with a series for each hop channel");
  page.row("history", history_words(settings.history));
  page.row("push", push_words(settings.push));
  page.row("labels", label_words(settings));
  for (const auto& port : settings.ports) add_port(page, settings, port);
  const LinkCounts counts = count_links(settings);
  for (const auto& link : settings.links)
    add_link(page, link, is_only_link(link, settings, counts));
  const auto notes = warnings(settings);
  if (!notes.empty()) page.heading("Warnings");
  for (const auto& note : notes) page.note(note);
  return page.take();
}

}  // namespace fadeward::config
