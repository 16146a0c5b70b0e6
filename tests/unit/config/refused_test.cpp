// Wrong files and the exact words for them. Lines and columns were counted by hand in the text.
#include <gtest/gtest.h>

#include <string>

#include "fadeward/config/parse.hpp"

namespace fadeward::config::refused_test {
namespace {

struct Refused {
  const char* title;
  std::string yaml;
  std::string message;  // lines after the first begin with the file name, too
};

std::ostream& operator<<(std::ostream& out, const Refused& each) { return out << each.title; }

// A link whose line 2 is the given text, indented below the name.
std::string link_with(const std::string& line) {
  return "links: [{name: a}]\ndefaults: { " + line + " }\n";
}

// One port; the given lines stand below its name at column 5.
std::string port_with(const std::string& lines) { return "ports:\n  - name: p\n" + lines; }

const std::string kPortKeys =
    "name, source, serial, framing, decoder, pattern, patterns, columns, separator, packed, "
    "packed_min_bytes, fields, poll, allow, silent";
const std::string kSource =
    "one of serial:PATH, tcp://HOST:PORT, udp://HOST:PORT, file:PATH, stdin: (IPv6 hosts in "
    "brackets, ports from 1 to 65535)";
const std::string kListen =
    "ADDRESS:PORT such as \"127.0.0.1:10868\" or \"[::1]:10868\" with a numeric address and a port "
    "from 0 to 65535 (0: any free one), or \"\" for none";
const std::string kSpan = "a span of time with its unit (90s, 15m, 12h, 30d, 5y)";
const std::string kTime =
    "a date such as 2031-03-01 or an RFC 3339 time such as 2031-03-01T06:00:00Z";
const std::string kUnreached =
    " leads to a known quantity: name one after it (rssi_dbm, seq, ...) or refer to one with "
    "fields: { rssi_dbm: { from: NAME } }";

const Refused kCases[] = {
    // ---- the document --------------------------------------------------------------------------
    {"empty file", "", "f.yaml:1:1: nothing in it: expected at least links: [{ name: ... }]"},
    {"comment only", "# later\n",
     "f.yaml:1:1: nothing in it: expected at least links: [{ name: ... }]"},
    {"a list on top", "- links\n",
     "f.yaml:1:1: a list is not allowed: a map with keys out of: external_labels, http, metrics, "
     "history, push, ports, defaults, links"},
    {"unknown top key", "lnks: []\n",
     "f.yaml:1:1: lnks: unknown key, did you mean links? allowed here: external_labels, http, "
     "metrics, history, push, ports, defaults, links"},
    {"unknown key without a near one", "thermostat: 3\n",
     "f.yaml:1:1: thermostat: unknown key: allowed here: external_labels, http, metrics, history, "
     "push, ports, defaults, links"},
    {"repeated top key", "links: [{name: a}]\n\nlinks: [{name: b}]\n",
     "f.yaml:3:1: links: given twice, first in line 1"},
    {"behind a byte order mark", "\xEF\xBB\xBFlinks: [{name: a, x: 1}]\n",
     "f.yaml:1:19: links[0].x: unknown key: allowed here: name, match, expect, radio, budget, "
     "rules, alerts, baseline, upkeep, site, via"},
    {"second document", "links: [{name: a}]\n---\nlinks: [{name: b}]\n",
     "f.yaml:3:1: a second document: only one is read"},
    {"control character", "links: [{name: a}]\n# \x07\n",
     "f.yaml:2:3: a byte that is neither UTF-8 text nor a line end"},
    {"not UTF-8", "links: [{name: \"\xe9t\xe9\"}]\n",
     "f.yaml:1:17: a byte that is neither UTF-8 text nor a line end"},
    {"foreign tag", "links: !fleet [{name: a}]\n", "f.yaml:1:8: tags have no meaning here"},
    {"key that is a list", "links: [{name: a}]\n[a, b]: 1\n",
     "f.yaml:2:1: a key must be a plain word"},
    {"alias inside its anchor", "links: &l [{name: a}, *l]\n",
     "f.yaml:1:23: an alias inside its own anchor"},

    // ---- links: names, types, units, ranges
    // ------------------------------------------------------
    {"range of a whole number",
     "links:\n  - name: a\n  - name: b\n  - name: c\n    radio:\n      spreading_factor: 13\n",
     "f.yaml:6:25: links[2].radio.spreading_factor: 13 is not allowed: a whole number from 5 to "
     "12"},
    {"fraction for a whole number", link_with("radio: { spreading_factor: 7.5 }"),
     "f.yaml:2:40: defaults.radio.spreading_factor: 7.5 is not allowed: a whole number from 5 to "
     "12"},
    {"quoted number", link_with("radio: { spreading_factor: \"7\" }"),
     "f.yaml:2:40: defaults.radio.spreading_factor: \"7\" is not allowed: a whole number from 5 to "
     "12, without quotes"},
    {"number with a unit", link_with("radio: { bandwidth_hz: 125 kHz }"),
     "f.yaml:2:36: defaults.radio.bandwidth_hz: 125 kHz is not allowed: a number from 10 to "
     "1000000000 (Hz)"},
    {"infinite number", link_with("radio: { required_snr_db: 1e999 }"),
     "f.yaml:2:39: defaults.radio.required_snr_db: 1e999 is not allowed: a number from -40 to 60 "
     "(dB)"},
    {"no number", link_with("radio: { required_snr_db: nan }"),
     "f.yaml:2:39: defaults.radio.required_snr_db: nan is not allowed: a number from -40 to 60 "
     "(dB)"},
    {"unknown word", link_with("radio: { rssi: sum }"),
     "f.yaml:2:28: defaults.radio.rssi: sum is not allowed: one of total, signal"},
    {"misspelt key", link_with("radio: { spreding_factor: 7 }"),
     "f.yaml:2:22: defaults.radio.spreding_factor: unknown key, did you mean spreading_factor? "
     "allowed here: modulation, spreading_factor, bandwidth_hz, bit_rate_bps, noise_figure_db, "
     "required_snr_db, sensitivity_dbm, snr_ceiling_db, max_power_dbm, slowest, rssi, seq, "
     "level_offset_db, far_level_offset_db, seq_bits, counter_bits"},
    {"repeated key", "links:\n  - name: a\n    expect: 10s\n    expect: 20s\n",
     "f.yaml:4:5: links[0].expect: given twice, first in line 3"},
    {"spreading factor of another modulation",
     link_with("radio: { modulation: fsk, spreading_factor: 9 }"),
     "f.yaml:2:57: defaults.radio.spreading_factor: belongs to modulation: css"},
    {"half of what multipath planning needs", link_with("budget: { multipath: { log10_k: -5 } }"),
     "f.yaml:2:45: defaults.budget.multipath.log10_k: ITU-R P.530-19 needs both log10_k and dn75"},
    {"the geoclimatic factor instead of its logarithm",
     link_with("budget: { multipath: { log10_k: 0.00003, dn75: 20 } }"),
     "f.yaml:2:45: defaults.budget.multipath.log10_k: 0.00003 is not allowed: a number from -12 to "
     "0 (log10 of the geoclimatic factor K, not K itself)"},
    {"a slowest rate that is none", link_with("radio: { slowest: {} }"),
     "f.yaml:2:31: defaults.radio.slowest: needs spreading_factor, bandwidth_hz or bit_rate_bps"},
    {"a slowest rate of another modulation",
     link_with("radio: { modulation: fsk, slowest: { spreading_factor: 9 } }"),
     "f.yaml:2:48: defaults.radio.slowest: its spreading_factor belongs to modulation: css"},
    {"a bit rate for chirps",
     link_with("radio: { spreading_factor: 9, slowest: { bit_rate_bps: 100 } }"),
     "f.yaml:2:52: defaults.radio.slowest: its bit_rate_bps belongs to modulation: fsk; chirps "
     "have spreading_factor and bandwidth_hz"},
    {"a slowest rate that is faster",
     link_with("radio: { spreading_factor: 9, slowest: { spreading_factor: 8 } }"),
     "f.yaml:2:52: defaults.radio.slowest: is faster than spreading_factor"},
    {"a slowest rate that is faster by its width",
     link_with("radio: { spreading_factor: 9, bandwidth_hz: 62500, "
               "slowest: { spreading_factor: 10, bandwidth_hz: 500000 } }"),
     "f.yaml:2:73: defaults.radio.slowest: is faster than spreading_factor and bandwidth_hz"},
    {"a list for a map", link_with("rules: [a]"),
     "f.yaml:2:20: defaults.rules: a list is not allowed: a map with keys out of: set, channels, "
     "dwell_s, duty_ratio, hop_clock_s"},
    {"a map for a number", link_with("budget: { distance_km: { a: 1 } }"),
     "f.yaml:2:36: defaults.budget.distance_km: a map is not allowed: a number from 0.001 to 1000 "
     "(km)"},
    {"nothing for a number", "links:\n  - name: a\n    budget:\n      distance_km:\n",
     "f.yaml:4:7: links[0].budget.distance_km: nothing is not allowed: a number from 0.001 to 1000 "
     "(km)"},
    {"hertz for megahertz", link_with("budget: { frequency_mhz: 915000000 }"),
     "f.yaml:2:38: defaults.budget.frequency_mhz: 915000000 is not allowed: a number from 10 to "
     "100000 (MHz)"},
    {"power of a broadcast mast", link_with("budget: { near: { power_dbm: 90 } }"),
     "f.yaml:2:42: defaults.budget.near.power_dbm: 90 is not allowed: a number from -60 to 60 "
     "(dBm)"},
    {"gain of a feeder", link_with("budget: { far: { feeder_db: -2 } }"),
     "f.yaml:2:41: defaults.budget.far.feeder_db: -2 is not allowed: a number from 0 to 100 (dB of "
     "loss)"},
    {"certainty", link_with("budget: { availability: 1 }"),
     "f.yaml:2:37: defaults.budget.availability: 1 is not allowed: a ratio between 0 and 1 (99.9 % "
     "is 0.999)"},
    {"per cent for a ratio", link_with("rules: { duty_ratio: 10 }"),
     "f.yaml:2:34: defaults.rules.duty_ratio: 10 is not allowed: a ratio from 0 to 1 (10 % is "
     "0.1)"},
    {"expect in another unit", "links:\n  - name: a\n    expect: 10 m/s\n",
     "f.yaml:3:13: links[0].expect: 10 m/s is not allowed: " + kSpan + " from 10ms to 366d"},
    {"name missing", "links:\n  - expect: 10s\n", "f.yaml:2:5: links[0]: name is missing"},
    {"empty name", "links:\n  - name: ''\n",
     "f.yaml:2:11: links[0].name: \"\" is not allowed: a name of 1 to 128 bytes without control "
     "characters"},
    {"name with a line end", "links:\n  - name: \"a\\nb\"\n",
     "f.yaml:2:11: links[0].name: \"a\\x0ab\" is not allowed: a name of 1 to 128 bytes without "
     "control characters"},
    {"links is a map", "links: { weir: {} }\n",
     "f.yaml:1:8: links: a map is not allowed: a list of at most 10000 maps, one per link"},
    {"site", "links:\n  - name: a\n    site: floating\n",
     "f.yaml:3:11: links[0].site: floating is not allowed: one of fixed, moving"},
    {"match is no default", link_with("match: { port: p }"),
     "f.yaml:2:13: defaults.match: unknown key: allowed here: expect, radio, budget, rules, "
     "alerts, "
     "baseline, upkeep, site"},

    // ---- alerts
    // ----------------------------------------------------------------------------------
    {"hold without unit", link_with("alerts: { margin_db: { hold: 15 } }"),
     "f.yaml:2:42: defaults.alerts.margin_db.hold: 15 is not allowed: " + kSpan + " from 0s to 7d"},
    {"margin levels in the wrong order",
     link_with("alerts: { margin_db: { warning: 5, critical: 10 } }"),
     "f.yaml:2:58: defaults.alerts.margin_db.critical: critical (10) must be below warning (5)"},
    {"loss levels in the wrong order",
     link_with("alerts: { loss_ratio: { critical: 0.1, warning: 0.2 } }"),
     "f.yaml:2:47: defaults.alerts.loss_ratio.critical: critical (0.1) must be above warning "
     "(0.2)"},
    {"a link's warning against the default critical",
     "defaults: { alerts: { margin_db: { critical: 8 } } }\nlinks:\n  - name: a\n    alerts:\n"
     "      margin_db: { warning: 6 }\n",
     "f.yaml:5:29: links[0].alerts.margin_db.warning: critical (8) must be below warning (6)"},
    {"a clearing level of the other side", link_with("alerts: { margin_db: { clear_below: 2 } }"),
     "f.yaml:2:36: defaults.alerts.margin_db.clear_below: unknown key: "
     "allowed here: warning, critical, clear_above, hold"},
    {"a number for an alert", link_with("alerts: { loss_ratio: 0.1 }"),
     "f.yaml:2:35: defaults.alerts.loss_ratio: 0.1 is not allowed: off, or a map { warning, "
     "critical, clear_below, hold }"},
    {"silent shorter than expect",
     "links:\n  - name: a\n    expect: 1h\n    alerts: { silent: 15m }\n",
     "f.yaml:4:23: links[0].alerts.silent: silent (15m) must be longer than expect (1h)"},
    {"default silent shorter than a link's expect",
     "links:\n  - name: a\n    expect: 1h\ndefaults: { alerts: { silent: 15m } }\n",
     "f.yaml:3:13: links[0].expect: silent (15m) must be longer than expect (1h)"},

    // ---- periods
    // ---------------------------------------------------------------------------------
    {"baseline backwards", link_with("baseline: { from: 2031-03-15, to: 2031-03-01 }"),
     "f.yaml:2:47: defaults.baseline.to: 2031-03-01T00:00:00Z is not after from "
     "(2031-03-15T00:00:00Z)"},
    {"baseline word", link_with("baseline: first"),
     "f.yaml:2:23: defaults.baseline: first is not allowed: commissioning (the first 14 days) or a "
     "map { from, to } of two dates"},
    {"no such day", link_with("baseline: { from: 2031-02-30, to: 2031-03-01 }"),
     "f.yaml:2:31: defaults.baseline.from: 2031-02-30 is not allowed: " + kTime},
    {"upkeep without an end", "links:\n  - name: a\n    upkeep:\n      - from: 2031-03-01\n",
     "f.yaml:4:9: links[0].upkeep[0]: to is missing"},
    {"upkeep of no length",
     "links:\n  - name: a\n    upkeep: [ { from: 2031-03-01, to: 2031-03-01T00:00:00Z } ]\n",
     "f.yaml:3:39: links[0].upkeep[0].to: 2031-03-01T00:00:00Z is not after from "
     "(2031-03-01T00:00:00Z)"},

    // ---- references
    // ------------------------------------------------------------------------------
    {"two links of one name", "links:\n  - name: weir\n  - name: ridge\n  - name: weir\n",
     "f.yaml:4:11: links[2].name: weir is given twice, first in line 2"},
    {"two ports of one name",
     "ports:\n  - { name: p, source: \"stdin:\" }\n  - { name: p, source: \"file:x\" }\n",
     "f.yaml:3:13: ports[1].name: p is given twice, first in line 2"},
    {"match of an unknown port",
     "ports: [{ name: mast, source: \"stdin:\" }]\nlinks:\n  - name: a\n    match: { port: mats "
     "}\n",
     "f.yaml:4:20: links[0].match.port: there is no port named mats, did you mean mast?"},
    {"two links of one radio name",
     "links:\n  - name: a\n    match: { link: \"7\" }\n  - name: b\n    match: { link: 7 }\n",
     "f.yaml:5:20: links[1].match.link: takes reports of 7 from any port, as link a does"},
    {"a link named as another is called by its radio",
     "ports: [{ name: p, source: \"stdin:\" }]\nlinks:\n  - name: a\n    match: { port: p, link: b "
     "}\n"
     "  - name: b\n",
     "f.yaml:5:5: links[1].match: takes reports of b from any port, as link a does"},
    {"via nowhere", "links:\n  - name: weir\n    via: rigde\n  - name: ridge\n",
     "f.yaml:3:10: links[0].via: there is no link named rigde, did you mean ridge?"},
    {"via itself", "links:\n  - name: weir\n    via: weir\n",
     "f.yaml:3:10: links[0].via: leads in a circle through weir"},
    {"via in a circle",
     "links:\n  - { name: a, via: b }\n  - { name: b, via: c }\n  - { name: c, via: a }\n",
     "f.yaml:4:21: links[2].via: leads in a circle through a"},

    // ---- ports
    // -----------------------------------------------------------------------------------
    {"source missing", "ports:\n  - name: p\n", "f.yaml:2:5: ports[0]: source is missing"},
    {"source of an unknown kind", port_with("    source: modem:/dev/ttyS0\n"),
     "f.yaml:3:13: ports[0].source: modem:/dev/ttyS0 is not allowed: " + kSource},
    {"source without a port number", port_with("    source: tcp://192.0.2.1\n"),
     "f.yaml:3:13: ports[0].source: tcp://192.0.2.1 is not allowed: " + kSource},
    {"source with a high port number", port_with("    source: tcp://192.0.2.1:65536\n"),
     "f.yaml:3:13: ports[0].source: tcp://192.0.2.1:65536 is not allowed: " + kSource},
    {"source with an impossible address", port_with("    source: tcp://192.0.2.256:80\n"),
     "f.yaml:3:13: ports[0].source: tcp://192.0.2.256:80 is not allowed: " + kSource},
    {"IPv6 without brackets", port_with("    source: tcp://2001:db8::1:80\n"),
     "f.yaml:3:13: ports[0].source: tcp://2001:db8::1:80 is not allowed: " + kSource},
    {"unknown port key", port_with("    source: \"stdin:\"\n    decode: json\n"),
     "f.yaml:4:5: ports[0].decode: unknown key, did you mean decoder? allowed here: " + kPortKeys},
    {"baud in words", port_with("    source: serial:/dev/ttyS0\n    serial: { baud: fast }\n"),
     "f.yaml:4:21: ports[0].serial.baud: fast is not allowed: a whole number from 50 to 12000000 "
     "(bits per second)"},
    {"nine data bits", port_with("    source: serial:/dev/ttyS0\n    serial: { data_bits: 9 }\n"),
     "f.yaml:4:26: ports[0].serial.data_bits: 9 is not allowed: a whole number from 5 to 8"},
    {"serial settings of a socket",
     port_with("    source: tcp://h:1\n    serial: { baud: 9600 }\n"),
     "f.yaml:4:13: ports[0].serial: belongs to a serial: source"},
    {"poll of a file", port_with("    source: file:log.txt\n    poll: { send: x }\n"),
     "f.yaml:4:11: ports[0].poll: belongs to a serial: or tcp:// source"},
    {"poll without anything to send",
     port_with("    source: tcp://h:1\n    poll: { every: 10s }\n"),
     "f.yaml:4:11: ports[0].poll: send is missing"},
    {"poll that is never quiet",
     port_with("    source: tcp://h:1\n    poll: { send: x, every: 1s, quiet_before: 1s }\n"),
     "f.yaml:4:47: ports[0].poll.quiet_before: must be shorter than every (1s)"},
    {"poll of characters that are no bytes",
     port_with("    source: tcp://h:1\n    poll: { send: \"\xe2\x82\xac\" }\n"),
     "f.yaml:4:19: ports[0].poll.send: \"\xe2\x82\xac\" is not allowed: text of 1 to 1024 "
     "characters "
     "up to U+00FF, each one byte"},
    {"open UDP", port_with("    source: udp://0.0.0.0:5000\n"),
     "f.yaml:3:13: ports[0].source: listens beyond this machine: name the senders with allow: "
     "[ADDRESS or NETWORK, ...]"},
    {"bad network",
     port_with("    source: udp://0.0.0.0:5000\n    allow: [192.0.2.0/24, 192.0.2.0/33]\n"),
     "f.yaml:4:27: ports[0].allow[1]: 192.0.2.0/33 is not allowed: an address or network such as "
     "192.0.2.7 or 192.0.2.0/24"},
    {"allow for TCP", port_with("    source: tcp://h:1\n    allow: [192.0.2.7]\n"),
     "f.yaml:4:12: ports[0].allow: belongs to a udp:// source"},
    {"framing word", port_with("    source: \"stdin:\"\n    framing: slip\n"),
     "f.yaml:4:14: ports[0].framing: slip is not allowed: one of lines, cobs, hdlc"},
    {"checksum on lines",
     port_with("    source: \"stdin:\"\n    framing: { kind: lines, crc: crc32 }\n"),
     "f.yaml:4:34: ports[0].framing.crc: belongs to kind: cobs (hdlc has its own check)"},
    {"block end that does not compile",
     port_with("    source: \"stdin:\"\n    framing: { block_end: '(' }\n"),
     "f.yaml:4:27: ports[0].framing.block_end: \"(\" is not allowed: an RE2 expression (missing ): "
     "()"},

    // ---- decoders
    // --------------------------------------------------------------------------------
    {"decoder word", port_with("    source: \"stdin:\"\n    decoder: xml\n"),
     "f.yaml:4:14: ports[0].decoder: xml is not allowed: one of json, pairs, csv, pattern, senml, "
     "packed"},
    {"pattern missing", port_with("    source: \"stdin:\"\n    decoder: pattern\n"),
     "f.yaml:4:14: ports[0].decoder: needs pattern: 'EXPRESSION' beside it"},
    {"pattern for another decoder",
     port_with("    source: \"stdin:\"\n    pattern: '(?P<seq>x)'\n"),
     "f.yaml:4:14: ports[0].pattern: belongs to decoder: pattern"},
    {"pattern that does not compile",
     port_with("    source: \"stdin:\"\n    decoder: pattern\n    pattern: 'rssi [0-'\n"),
     "f.yaml:5:14: ports[0].pattern: \"rssi [0-\" is not allowed: an RE2 expression (missing ]: "
     "[0-)"},
    {"pattern with lookahead, which RE2 has not",
     port_with("    source: \"stdin:\"\n    decoder: pattern\n    patterns: ['(?=x)(?P<seq>x)']\n"),
     "f.yaml:5:16: ports[0].patterns[0]: \"(?=x)(?P<seq>x)\" is not allowed: an RE2 expression "
     "(invalid perl operator: (?=)"},
    {"pattern that leads nowhere",
     port_with(
         "    source: \"stdin:\"\n    decoder: pattern\n    pattern: 'level (?P<level>\\d+)'\n"),
     "f.yaml:5:14: ports[0].pattern: no group" + kUnreached},
    {"pattern that only names the link",
     port_with("    source: \"stdin:\"\n    decoder: pattern\n    pattern: '(?P<link>\\d+)'\n"),
     "f.yaml:5:14: ports[0].pattern: no group" + kUnreached},
    {"one of two patterns that leads nowhere",
     port_with("    source: \"stdin:\"\n    decoder: pattern\n    patterns:\n"
               "      - '(?P<seq>x)'\n      - '(?P<link>y)'\n"),
     "f.yaml:7:9: ports[0].patterns[1]: no group" + kUnreached},
    {"a quantity that a rule has moved away",
     port_with("    source: \"stdin:\"\n    decoder: csv\n    columns: [seq, n]\n"
               "    fields: { seq: { from: m } }\n"),
     "f.yaml:5:14: ports[0].columns: no column" + kUnreached +
         "\n"
         "f.yaml:6:28: ports[0].fields.seq.from: there is no column named m in columns"},
    {"pairs separated by what joins them",
     port_with("    source: \"stdin:\"\n    decoder: pairs\n    separator: \"= \"\n"),
     "f.yaml:5:16: ports[0].separator: pairs cannot be separated by quotes or ="},
    {"columns separated by quotes",
     port_with("    source: \"stdin:\"\n    decoder: csv\n    separator: '\"'\n"),
     "f.yaml:5:16: ports[0].separator: columns cannot be separated by quotes"},
    {"field from a group that is not there",
     port_with("    source: \"stdin:\"\n    decoder: pattern\n    pattern: '(?P<seq>\\d+)'\n"
               "    fields: { rssi_dbm: { from: level } }\n"),
     "f.yaml:6:33: ports[0].fields.rssi_dbm.from: there is no group named level in pattern"},
    {"field of an unknown name",
     port_with("    source: \"stdin:\"\n    fields: { temperature_f: { from: t } }\n"),
     "f.yaml:4:15: ports[0].fields.temperature_f: unknown key, did you mean temperature_c? allowed "
     "here: seq, rssi_dbm, snr_db, noise_dbm, channel, far_rssi_dbm, far_snr_db, far_noise_dbm, "
     "far_time, frequency_hz, spreading_factor, bandwidth_hz, bit_rate_bps, airtime_s, "
     "tx_power_dbm, far_tx_power_dbm, tx_frames, far_tx_frames, tx_retries, far_tx_retries, "
     "tx_failures, far_tx_failures, rx_frames, far_rx_frames, rx_crc_errors, far_rx_crc_errors, "
     "rx_foreign, uptime_s, latency_s, hop_offset_s, supply_v, temperature_c, time, link"},
    {"scale of nothing",
     port_with("    source: \"stdin:\"\n    fields: { rssi_dbm: { scale: 0 } }\n"),
     "f.yaml:4:34: ports[0].fields.rssi_dbm.scale: 0 is not allowed: a number other than 0"},
    {"bits beyond the number",
     port_with("    source: \"stdin:\"\n    fields: { channel: { bits: \"64..60\" } }\n"),
     "f.yaml:4:32: ports[0].fields.channel.bits: \"64..60\" is not allowed: bits such as \"7..4\" "
     "or "
     "3, numbered from 0 to 63"},
    {"scale of a name", port_with("    source: \"stdin:\"\n    fields: { link: { scale: 2 } }\n"),
     "f.yaml:4:21: ports[0].fields.link: a name has neither scale nor offset"},
    {"columns that lead nowhere",
     port_with("    source: \"stdin:\"\n    decoder: csv\n    columns: [a, b]\n"),
     "f.yaml:5:14: ports[0].columns: no column" + kUnreached},
    {"repeated column",
     port_with("    source: \"stdin:\"\n    decoder: csv\n    columns: [seq, '-', '-', seq]\n"),
     "f.yaml:5:30: ports[0].columns[3]: the name seq is given twice"},
    {"packed without values", port_with("    source: \"stdin:\"\n    decoder: packed\n"),
     "f.yaml:4:14: ports[0].decoder: needs packed: [{ name, at, type }, ...] beside it"},
    {"packed type",
     port_with(
         "    source: \"stdin:\"\n    decoder: packed\n    packed: [{ name: seq, at: 0, type: "
         "u12 }]\n"),
     "f.yaml:5:40: ports[0].packed[0].type: u12 is not allowed: one of u8, i8, u16, i16, u24, i24, "
     "u32, i32, u64, i64, f32, f64"},
    {"packed name that nobody uses",
     port_with(
         "    source: \"stdin:\"\n    decoder: packed\n    packed:\n"
         "      - { name: seq, at: 0, type: u16 }\n      - { name: level, at: 2, type: u8 }\n"),
     "f.yaml:7:17: ports[0].packed[1].name: level is neither a canonical key nor one that fields "
     "refer to"},

    // ---- services
    // --------------------------------------------------------------------------------
    {"listen without a port", "http: { listen: 127.0.0.1 }\n",
     "f.yaml:1:17: http.listen: 127.0.0.1 is not allowed: " + kListen},
    {"listen on a name", "http: { listen: \"gateway.example:80\" }\n",
     "f.yaml:1:17: http.listen: \"gateway.example:80\" is not allowed: " + kListen},
    {"listen on a high port", "http: { listen: \"127.0.0.1:70000\" }\n",
     "f.yaml:1:17: http.listen: \"127.0.0.1:70000\" is not allowed: " + kListen},
    {"reload is a flag", "http: { reload: 1 }\n",
     "f.yaml:1:17: http.reload: 1 is not allowed: one of true, false"},
    {"keep too short", "history: { keep: 5m }\n",
     "f.yaml:1:18: history.keep: 5m is not allowed: " + kSpan + " from 1d to 36500d"},
    {"a size without its unit", "history: { dir: /h, max_size: 500 }\n",
     "f.yaml:1:31: history.max_size: 500 is not allowed: off, or a size with its unit (500MB, 2GB, "
     "1TB) of at least 50MB"},
    {"a history of one megabyte", "history: { dir: /h, max_size: 1MB }\n",
     "f.yaml:1:31: history.max_size: 1MB is not allowed: off, or a size with its unit (500MB, 2GB, "
     "1TB) of at least 50MB"},
    {"quarter hours for a day", "history: { dir: /h, keep_quarters: 1d }\n",
     "f.yaml:1:36: history.keep_quarters: 1d is not allowed: " + kSpan + " from 62d to 36500d"},
    {"push to no web address", "push: { alertmanagers: [\"127.0.0.1:9093\"] }\n",
     "f.yaml:1:25: push.alertmanagers[0]: \"127.0.0.1:9093\" is not allowed: a web address such as "
     "http://127.0.0.1:9093"},
    {"a password in a web address", "push: { alertmanagers: [\"http://me:secret@h/\"] }\n",
     "f.yaml:1:25: push.alertmanagers[0]: a web address with a user's name or password in it is not "
     "allowed: user and password_file are for these"},
    {"remote write without target", "push: { remote_write: { interval: 10s } }\n",
     "f.yaml:1:23: push.remote_write: url is missing"},
    {"a user without a password",
     "push: { alertmanagers: [ { url: \"http://h/\", user: me } ] }\n",
     "f.yaml:1:52: push.alertmanagers[0].user: password_file is missing"},
    {"a password without a user",
     "push: { remote_write: { url: \"http://h/\", password_file: p } }\n",
     "f.yaml:1:58: push.remote_write.password_file: user is missing"},
    {"a password in the file itself",
     "push: { remote_write: { url: \"http://h/\", password: hush } }\n",
     "f.yaml:1:43: push.remote_write.password: unknown key: allowed "
     "here: url, user, password_file, ca_file, interval, out_of_order, max_sample_age"},
    {"a user's name with a colon",
     "push: { remote_write: { url: \"http://h/\", user: \"a:b\", password_file: p } }\n",
     "f.yaml:1:49: push.remote_write.user: \"a:b\" is not allowed: a user's name of at most 255 "
     "bytes without a colon"},
    {"authorities without TLS",
     "push: { alertmanagers: [ { url: \"http://h/\", ca_file: c } ] }\n",
     "f.yaml:1:55: push.alertmanagers[0].ca_file: only for an address that begins with https://"},
    {"the same server twice",
     "push: { alertmanagers: [\"http://h/\", { url: \"http://h/\" }] }\n",
     "f.yaml:1:24: push.alertmanagers: the same address twice: http://h/"},
    {"label name", "external_labels: { gate-way: a }\n",
     "f.yaml:1:20: external_labels.gate-way: no label name: letters, digits and underscores, not a "
     "digit first, not two underscores first"},
    {"label of our own", "external_labels: { severity: low }\n",
     "f.yaml:1:20: external_labels.severity: the program sets this label itself"},
    {"repeated label", "external_labels:\n  a: 1\n  a: 2\n",
     "f.yaml:3:3: external_labels.a: given twice, first in line 2"},

    // ---- several at once
    // -------------------------------------------------------------------------
    {"sorted by line, columns in characters",
     "links:\n  - name: a\n    via: b\n    upkeep: [{ note: \"Fähre\", from: x, to: 2031-01-01 }]\n"
     "http: { port: 1 }\n",
     "f.yaml:3:10: links[0].via: there is no link named b, did you mean a?\n"
     "f.yaml:4:37: links[0].upkeep[0].from: x is not allowed: " +
         kTime +
         "\n"
         "f.yaml:5:9: http.port: unknown key: allowed here: listen, web_config, reload"},
    {"mistakes in the defaults are told once",
     "defaults: { radio: { rssi: x }, alerts: { silent: 1 } }\nlinks: [{name: a}, {name: b}]\n",
     "f.yaml:1:28: defaults.radio.rssi: x is not allowed: one of total, signal\n"
     "f.yaml:1:51: defaults.alerts.silent: 1 is not allowed: " +
         kSpan + " from 1s to 365d"},
};

class RefusedTest : public ::testing::TestWithParam<Refused> {};

TEST_P(RefusedTest, SaysWhereAndWhatIsAllowed) {
  const auto parsed = parse(GetParam().yaml, "f.yaml");
  ASSERT_FALSE(parsed.ok()) << GetParam().yaml;
  EXPECT_EQ(parsed.error().message, GetParam().message) << GetParam().yaml;
}

INSTANTIATE_TEST_SUITE_P(Table, RefusedTest, ::testing::ValuesIn(kCases));

TEST(Refused, SyntaxErrorsHaveALine) {
  const auto parsed = parse("links:\n  - name: a\n   radio: {\n", "f.yaml");
  ASSERT_FALSE(parsed.ok());
  EXPECT_EQ(parsed.error().message.rfind("f.yaml:3:", 0), 0U) << parsed.error().message;
  EXPECT_NE(parsed.error().message.find("not YAML: "), std::string::npos);
}

TEST(Refused, UnknownAliasHasItsPlace) {
  const auto parsed = parse("links:\n  - *weir\n", "f.yaml");
  ASSERT_FALSE(parsed.ok());
  EXPECT_EQ(parsed.error().message.rfind("f.yaml:2:", 0), 0U) << parsed.error().message;
}

TEST(Refused, ShowsTwentyAndCountsTheRest) {
  std::string yaml = "links:\n";
  for (int i = 0; i < 30; ++i) yaml += "  - { name: l" + std::to_string(i) + ", expect: 5 }\n";
  const auto parsed = parse(yaml, "f.yaml");
  ASSERT_FALSE(parsed.ok());
  const std::string& message = parsed.error().message;
  EXPECT_EQ(std::count(message.begin(), message.end(), '\n'), 20);
  EXPECT_NE(message.find("\nf.yaml:21:"), std::string::npos);
  EXPECT_EQ(message.find("\nf.yaml:22:"), std::string::npos);
  EXPECT_EQ(message.substr(message.rfind('\n') + 1), "f.yaml: and 10 more");
}

TEST(Refused, RuleSetsOfTheVocabulary) {
  const std::string yaml = "links:\n  - name: a\n    rules: { set: us-hopping }\n";
  EXPECT_TRUE(parse(yaml, "f.yaml").ok());
  EXPECT_TRUE(parse(yaml, "f.yaml", {{"eu-duty", "us-hopping"}}).ok());
  const auto parsed = parse(yaml, "f.yaml", {{"eu-duty", "eu-lbt"}});
  ASSERT_FALSE(parsed.ok());
  EXPECT_EQ(parsed.error().message,
            "f.yaml:3:19: links[0].rules.set: us-hopping is not allowed: one of eu-duty, eu-lbt");
}

}  // namespace
}  // namespace fadeward::config::refused_test
