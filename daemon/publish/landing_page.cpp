#include "fadeward/publish/landing_page.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <vector>

#include "chart.hpp"
#include "escape.hpp"
#include "fadeward/base/html_text.hpp"
#include "fadeward/base/text.hpp"

namespace fadeward::publish {

namespace {

using judge::AlertState;
using judge::DirectionSnapshot;
using judge::LinkSnapshot;
using judge::PortSnapshot;
using judge::Snapshot;

// Blue, ochre and plum stay apart for the usual kinds of colour blindness, and each is said in
// words and by a mark as well. Every pair of text and ground reaches 4.5:1 (WCAG 2.1, 1.4.3).
constexpr std::string_view kStyle = R"css(
:root {
  color-scheme: light dark;
  --ground: #fbfaf7; --panel: #ffffff; --text: #20262b; --quiet: #565f66; --line: #d4d0c6;
  --good: #14598c; --warning: #7d4a00; --critical: #8c1250; --link: #14598c;
}
@media (prefers-color-scheme: dark) {
  :root {
    --ground: #171b1e; --panel: #1f2529; --text: #e8e6e0; --quiet: #a9b1b6; --line: #3b444a;
    --good: #86c1ee; --warning: #f0b65c; --critical: #ff9ec6; --link: #86c1ee;
  }
}
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.25rem; max-width: 70rem; background: var(--ground);
       color: var(--text); font: 1rem/1.5 system-ui, sans-serif; }
header { display: flex; flex-wrap: wrap; gap: .25rem 1rem; align-items: baseline; }
h1 { margin: 0; font-size: 1.5rem; }
h2 { margin: 1.75rem 0 .5rem; font-size: 1.125rem; }
p { margin: .25rem 0; }
a { color: var(--link); }
a:focus-visible { outline: 3px solid var(--link); outline-offset: 2px; }
.quiet { color: var(--quiet); }
.scroll { overflow-x: auto; background: var(--panel); border: 1px solid var(--line);
          border-radius: .4rem; }
table { border-collapse: collapse; width: 100%; }
th, td { padding: .4rem .75rem; text-align: left; vertical-align: top;
         border-bottom: 1px solid var(--line); }
tr:last-child > th, tr:last-child > td { border-bottom: 0; }
thead th { color: var(--quiet); font-weight: 600; font-size: .875rem; }
td.number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
th.number { text-align: right; }
.alerts td:first-child { white-space: nowrap; }
td.words { min-width: 14rem; overflow-wrap: anywhere; }
.good { color: var(--good); }
.warning { color: var(--warning); font-weight: 600; }
.critical { color: var(--critical); font-weight: 700; }
@media (max-width: 40rem) {   /* a phone: one alert below the other */
  body { padding: .75rem; }
  .alerts thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  .alerts tr { display: flex; flex-wrap: wrap; gap: 0 .9rem; padding: .5rem .75rem;
               border-bottom: 1px solid var(--line); }
  .alerts th, .alerts td { padding: 0; border: 0; }
  .alerts td.words { flex-basis: 100%; min-width: 0; order: 1; }
}
.links td, .links th { padding: .3rem .6rem; }
.links td:nth-child(3), .links td:nth-child(4), .links td:nth-last-child(3) { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
.links small { display: block; color: var(--quiet); white-space: nowrap; }
.links td.critical::before { content: "\25A0\A0" / ""; } .links td.warning::before { content: "\25B2\A0" / ""; }
.links td.good::before { content: "\25CF\A0" / ""; } .links td.note::before { content: "\25CB\A0" / ""; } .links td.quiet::before { content: "\25C7\A0" / ""; }
.s { display: block; width: 6rem; height: 1.75rem; }
.s path { fill: none; stroke: var(--link); stroke-width: 1.5; vector-effect: non-scaling-stroke; stroke-linejoin: round; }
@media (max-width: 40rem) {   /* a link becomes a card of three lines */
  .links thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  .links tr { display: flex; flex-wrap: wrap; gap: .1rem .9rem; align-items: center; padding: .5rem .75rem; border-bottom: 1px solid var(--line); }
  .links th, .links td { padding: 0; border: 0; }
  .links th { flex-basis: 45%; } .links td:empty { display: none; }
  .links small { display: inline; margin-left: .3rem; } .s { display: inline-block; vertical-align: middle; }
  .links td:nth-child(3)::before { content: "in "; } .links td:nth-child(4)::before { content: "out "; }
  .links td:nth-last-child(3)::before { content: "days left "; }
}
nav ul { display: flex; flex-wrap: wrap; gap: .25rem 1.25rem; margin: 0; padding: 0;
         list-style: none; }
)css";

constexpr std::string_view kSpace = "\xc2\xa0";  ///< that does not break

/// A state in words with its mark; the mark is for the eye only.
struct Word {
  std::string_view style;
  std::string_view mark;
  std::string_view text;
};

Word word_of(Severity severity) {
  switch (severity) {
    case Severity::critical: return {"critical", "&#9632;", "critical"};
    case Severity::warning: return {"warning", "&#9650;", "warning"};
    case Severity::info: return {"good", "&#9675;", "note"};
    case Severity::none: break;
  }
  return {"good", "&#9679;", "good"};
}

void append_word(std::string& out, const Word& word) {
  out += "<span class=\"";
  out += word.style;
  out += "\"><span aria-hidden=\"true\">";
  out += word.mark;
  out += "</span> ";
  out += word.text;
  out += "</span>";
}

Severity worst_of(const Snapshot& snapshot, std::size_t link) {
  Severity worst = Severity::none;
  for (const AlertState& alert : snapshot.alerts) {
    if (alert.active && alert.link == link) worst = std::max(worst, alert.severity);
  }
  return worst;
}

Word state_of(const Snapshot& snapshot, std::size_t index) {
  const LinkSnapshot& link = snapshot.links[index];
  if (link.upkeep) return {"quiet", "&#9671;", "upkeep"};
  const Severity worst = worst_of(snapshot, index);
  if (!link.up && !link.last_report) return {"quiet", "&#9675;", "not heard yet"};
  if (!link.up) return {word_of(std::max(worst, Severity::warning)).style, "&#9633;", "silent"};
  return word_of(worst);
}

/// The margin, and below it how far it stands from the level that warns.
void append_margin_cell(std::string& out, const LinkSnapshot& link, std::size_t d) {
  const DirectionSnapshot& values = link.directions[d];
  const std::optional<double> judged =
      values.has_reserve && values.reserve_db ? values.reserve_db : values.margin_db;
  out += "<td>";
  if (!values.margin_db) {
    out += "&ndash;</td>";
    return;
  }
  append_fixed(out, *values.margin_db, 1);
  out += kSpace;
  out += "dB";
  if (judged && link.margin_warning_db) {
    const double over = *judged - *link.margin_warning_db;
    out += "<small>";
    append_fixed(out, std::abs(over), 1);
    out += over >= 0 ? " above " : " below ";
    append_rounded(out, *link.margin_warning_db, 1);
    out += "</small>";
  }
  out += "</td>";
}

/// Smallest distance from the level that warns; far where nothing is known.
double headroom_of(const LinkSnapshot& link) {
  double out = 1e9;
  for (const DirectionSnapshot& values : link.directions) {
    const auto& judged =
        values.has_reserve && values.reserve_db ? values.reserve_db : values.margin_db;
    if (judged) out = std::min(out, *judged - link.margin_warning_db.value_or(0));
  }
  return out;
}

std::string_view words_of(Cause cause) {
  switch (cause) {
    case Cause::none: return {};
    case Cause::path: return "path: obstruction, leaves or weather";
    case Cause::near_antenna: return "antenna or feeder here";
    case Cause::far_antenna: return "antenna or feeder at the site";
    case Cause::far_transmit: return "transmitter at the site";
    case Cause::near_transmit: return "transmitter here";
    case Cause::near_receive: return "receiver here";
    case Cause::far_receive: return "receiver at the site";
    case Cause::near_noise: return "noise here";
    case Cause::far_noise: return "noise at the site";
    case Cause::near_channels: return "some hop channels here";
    case Cause::far_channels: return "some hop channels at the site";
    case Cause::collisions: return "collisions with other traffic";
    case Cause::port: return "bytes lost at the port";
    case Cause::restart: return "radio restarted";
    case Cause::silent: return "no reports";
  }
  return {};
}

Cause cause_of(const Snapshot& snapshot, std::size_t index) {
  Severity gravest = Severity::none;
  Cause out = Cause::none;
  for (const AlertState& alert : snapshot.alerts) {
    if (!alert.active || alert.link != index || alert.cause == Cause::none ||
        alert.severity <= gravest)
      continue;
    gravest = alert.severity;
    out = alert.cause;
  }
  for (const DirectionSnapshot& values : snapshot.links[index].directions)
    if (out == Cause::none) out = values.cause;
  return out;
}

/// The weaker direction, on a scale of its own that spans at least ten decibels.
void append_last_day(std::string& out, const LandingExtras& extras, const LinkSnapshot& link) {
  out += "<td>";
  const auto found =
      extras.last_days ? extras.last_days->find(link.name) : review::LastDays::const_iterator{};
  if (extras.last_days && found != extras.last_days->end()) {
    const auto lowest = [](const auto& hours) {
      double low = 1e9;
      for (const auto& hour : hours)
        if (hour) low = std::min(low, *hour);
      return low;
    };
    const auto& lines = found->second;
    const auto& hours = lowest(lines[1]) < lowest(lines[0]) ? lines[1] : lines[0];
    double low = 1e9, high = -1e9;
    for (const auto& hour : hours)
      if (hour) {
        low = std::min(low, *hour);
        high = std::max(high, *hour);
      }
    if (low <= high) {
      const double middle = (low + high) / 2, half = std::max(5.0, (high - low) / 2);
      append_spark(out, {hours.begin(), hours.end()}, middle - half, middle + half, 96, 28);
      out += "<small>";
      append_rounded(out, low, 0);
      out += " to ";
      append_rounded(out, high, 0);
      out += kSpace;
      out += "dB</small>";
    }
  }
  out += "</td>";
}

std::optional<double> days_left_of(const LinkSnapshot& link) {
  std::optional<double> out;
  for (const DirectionSnapshot& values : link.directions)
    if (values.days_left) out = std::min(out.value_or(1e9), *values.days_left);
  return out;
}

/// "40 s ago" and the like, coarse on purpose.
std::string age_of(Time then, Time now) {
  const double age_s = std::max(0.0, duration_to_seconds(now - then));
  std::string out;
  if (age_s < 120) {
    append_rounded(out, age_s, 0);
    return out + " s ago";
  }
  if (age_s < 7200) {
    append_rounded(out, age_s / 60, 0);
    return out + " min ago";
  }
  if (age_s < 172800) {
    append_rounded(out, age_s / 3600, 0);
    return out + " h ago";
  }
  append_rounded(out, age_s / 86400, 0);
  return out + " days ago";
}

void append_moment(std::string& out, const std::optional<Time>& then, Time now) {
  if (!then) {
    out += "never";
    return;
  }
  out += "<time datetime=\"" + format_rfc3339(*then) + "\" title=\"" + format_rfc3339(*then) +
         "\">" + age_of(*then, now) + "</time>";
}

/// An age without its machine-readable twin: a hundred rows must stay small.
void append_age(std::string& out, const std::optional<Time>& then, Time now) {
  out += then ? age_of(*then, now) : std::string("never");
}

void append_link_row(std::string& out, const Snapshot& snapshot, std::size_t index,
                     const LandingExtras& extras) {
  const LinkSnapshot& link = snapshot.links[index];
  out += extras.reviews ? "<tr><th scope=row><a href=\"/review/"
                        : "<tr><th scope=row><a href=\"/links/";
  append_percent_encoded(out, link.name);
  out += "\">";
  append_html(out, link.name, 60);
  const Word state = state_of(snapshot, index);
  out += "</a></th><td class=";
  out += state.text == "note" ? std::string_view("note") : state.style;
  out += '>';
  out += state.text;
  out += "</td>";
  for (std::size_t d = 0; d < kDirections; ++d) append_margin_cell(out, link, d);
  if (extras.reviews) append_last_day(out, extras, link);
  out += "<td>";
  if (const auto days = days_left_of(link)) append_rounded(out, *days, 0);
  out += "</td><td>";
  out += words_of(cause_of(snapshot, index));
  out += "</td><td>";
  append_age(out, link.last_report, snapshot.time);
  out += "</td></tr>\n";
}

/// How bad, for the order: what is upkeep or was never heard comes last.
int rank_of(const Snapshot& snapshot, std::size_t index) {
  const LinkSnapshot& link = snapshot.links[index];
  if (link.upkeep || (!link.up && !link.last_report)) return 0;
  const auto worst = static_cast<int>(worst_of(snapshot, index));
  return 1 + std::max(worst, link.up ? 0 : static_cast<int>(Severity::warning));
}

void append_links(std::string& out, const Snapshot& snapshot, const LandingExtras& extras) {
  out += "<h2 id=\"links\">Links</h2>\n";
  if (snapshot.links.empty()) {
    out += "<p>No link is configured.</p>\n";
    return;
  }
  std::vector<std::size_t> order(snapshot.links.size());
  std::vector<int> ranks;
  for (std::size_t i = 0; i < order.size(); ++i) {
    order[i] = i;
    ranks.push_back(rank_of(snapshot, i));
  }
  std::ranges::stable_sort(order, [&](std::size_t a, std::size_t b) {
    if (ranks[a] != ranks[b]) return ranks[a] > ranks[b];
    return headroom_of(snapshot.links[a]) < headroom_of(snapshot.links[b]);
  });
  out +=
      "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-labelledby=\"links\"><table "
      "class=\"links\">\n"
      "<thead><tr><th scope=\"col\">Link</th><th scope=\"col\">State</th>"
      "<th scope=\"col\" class=\"number\">Margin inbound</th>"
      "<th scope=\"col\" class=\"number\">Margin outbound</th>";
  if (extras.reviews) out += "<th scope=\"col\">Last day</th>";
  out +=
      "<th scope=\"col\" class=\"number\">Days left</th><th scope=\"col\">Likely cause</th>"
      "<th scope=\"col\">Last report</th></tr></thead>\n<tbody>\n";
  for (const std::size_t i : order) append_link_row(out, snapshot, i, extras);
  out +=
      "</tbody></table></div>\n"
      "<p class=\"quiet\">Worst first. Inbound is sent by the far end and heard at the gateway; "
      "outbound is "
      "the other way. Small figures: how far the margin stands from the level that warns. Days "
      "left: until "
      "the forecast reaches that level; empty where no crossing is in sight.";
  if (extras.reviews) out += " Last day: the weaker way.";
  out += "</p>\n";
}

std::string_view owner_of(const Snapshot& snapshot, const AlertState& alert) {
  if (alert.link < snapshot.links.size()) return snapshot.links[alert.link].name;
  if (alert.port < snapshot.ports.size()) return snapshot.ports[alert.port].name;
  return "?";
}

void append_alert_row(std::string& out, const Snapshot& snapshot, const AlertState& alert) {
  out += "<tr><td>";
  append_word(out, word_of(alert.severity));
  out += "</td><th scope=\"row\">";
  append_html(out, owner_of(snapshot, alert));
  out += alert.link == kNoLink ? " (port)" : "";
  if (alert.direction) {
    out += ' ';
    out += name_of(*alert.direction);
  }
  out += "</th><td>";
  out += name_of(alert.alert);
  out += "</td><td class=\"words\">";
  append_html(out, alert.text, 240);
  if (alert.stale) out += " <span class=\"quiet\">(no data since)</span>";
  out += "</td><td>";
  append_moment(out, alert.since, snapshot.time);
  out += "</td></tr>\n";
}

void append_alerts(std::string& out, const Snapshot& snapshot) {
  std::vector<const AlertState*> active;
  for (const AlertState& alert : snapshot.alerts) {
    if (alert.active && alert.severity > Severity::info) active.push_back(&alert);
  }
  std::stable_sort(active.begin(), active.end(), [](const AlertState* a, const AlertState* b) {
    return a->severity > b->severity;
  });
  out += "<h2 id=\"alerts\">Alerts</h2>\n";
  if (active.empty()) {
    out += "<p>No alert is active.</p>\n";
    return;
  }
  out +=
      "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-labelledby=\"alerts\"><table "
      "class=\"alerts\">\n"
      "<thead><tr><th scope=\"col\">Severity</th><th scope=\"col\">Where</th>"
      "<th scope=\"col\">Alert</th><th scope=\"col\">What</th><th scope=\"col\">Since</th>"
      "</tr></thead>\n<tbody>\n";
  constexpr std::size_t kMost = 12;
  for (std::size_t i = 0; i < std::min(active.size(), kMost); ++i)
    append_alert_row(out, snapshot, *active[i]);
  out += "</tbody></table></div>\n";
  if (active.size() > kMost)
    out += "<p class=\"quiet\">" + std::to_string(active.size() - kMost) +
           " more are in <a href=\"/alerts\">/alerts</a>.</p>\n";
}

void append_port_row(std::string& out, const PortSnapshot& port, Time now) {
  out += "<tr><th scope=\"row\">";
  append_html(out, port.name);
  out += "</th><td>";
  append_word(out,
              port.up ? Word{"good", "&#9679;", "open"} : Word{"critical", "&#9633;", "closed"});
  out += "</td><td class=\"words\">";
  append_html(out, port.detail);
  out += "</td><td>";
  append_moment(out, port.since, now);
  out += "</td></tr>\n";
}

void append_ports(std::string& out, const Snapshot& snapshot) {
  if (snapshot.ports.empty()) return;
  out +=
      "<h2 id=\"ports\">Ports</h2>\n<div class=\"scroll\" tabindex=\"0\" role=\"region\" "
      "aria-labelledby=\"ports\"><table>\n<thead><tr><th scope=\"col\">Port</th>"
      "<th scope=\"col\">State</th><th scope=\"col\">Detail</th>"
      "<th scope=\"col\">Since</th></tr></thead>\n<tbody>\n";
  for (const PortSnapshot& port : snapshot.ports) append_port_row(out, port, snapshot.time);
  out += "</tbody></table></div>\n";
}

void append_head(std::string& out, const Snapshot& snapshot, const BuildInfo& build, bool renew) {
  out +=
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n";
  if (renew) out += "<meta http-equiv=\"refresh\" content=\"30\">\n";
  out +=
      "<title>fadeward: radio links</title>\n"
      "<link rel=\"stylesheet\" href=\"/style.css\">\n</head><body>\n"
      "<header><h1>fadeward</h1><p class=\"quiet\">version ";
  append_html(out, build.version);
  if (snapshot.time != Time{}) {
    out += ", as of <time datetime=\"" + format_rfc3339(snapshot.time) + "\">" +
           format_rfc3339(std::chrono::floor<std::chrono::seconds>(snapshot.time)) + "</time>";
  }
  out += renew ? "; renews every 30 s: <a href=\"/\">stop</a>"
               : "; <a href=\"/?renew\">renew every 30 s</a>";
  out += "</p></header>\n<main>\n";
}

void append_notices(std::string& out, const Snapshot& snapshot, const ProgramState& program) {
  if (!program.ready) out += "<p class=\"warning\">Starting: not ready yet.</p>\n";
  if (!snapshot.clock_trusted) {
    out += "<p class=\"warning\">The clock of this machine is not trusted yet.</p>\n";
  }
  if (!program.config_last_reload_successful) {
    out +=
        "<p class=\"warning\">The newest configuration was refused; the one before is in "
        "use.</p>\n";
  }
}

constexpr std::string_view kFoot =
    "</main>\n<nav aria-label=\"For programs\"><h2>For programs</h2><ul>"
    "<li><a href=\"/metrics\">metrics</a></li><li><a href=\"/links\">links (JSON)</a></li>"
    "<li><a href=\"/alerts\">alerts (JSON)</a></li><li><a href=\"/-/healthy\">healthy</a></li>"
    "<li><a href=\"/-/ready\">ready</a></li></ul></nav>\n</body></html>\n";

}  // namespace

std::string landing_page(const Snapshot& snapshot, const ProgramState& program,
                         const BuildInfo& build, const LandingExtras& extras) {
  std::string out;
  append_head(out, snapshot, build, extras.renew);
  append_notices(out, snapshot, program);
  append_links(out, snapshot, extras);
  append_alerts(out, snapshot);
  append_ports(out, snapshot);
  out += kFoot;
  return out;
}

std::string_view landing_style() { return kStyle; }

}  // namespace fadeward::publish
