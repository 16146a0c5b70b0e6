#include "fadeward/publish/review_page.hpp"

#include <algorithm>
#include <array>

#include "chart.hpp"
#include "fadeward/base/html_text.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/publish/landing_page.hpp"
#include "fadeward/review/undated.hpp"
#include "fadeward/review/words.hpp"
#include "review_figures.hpp"

namespace fadeward::publish {

namespace {

using namespace review;

constexpr std::array<const char*, kDirections + 1> kWays = {"inbound", "outbound", "both ways"};
constexpr std::array<const char*, kDirections> kHeads = {"Inbound", "Outbound"};
constexpr std::size_t kMostMarks = 24;
constexpr std::size_t kMostEvents = 120;
constexpr std::size_t kLetters = 26;  ///< for upkeeps; those beyond are listed without

constexpr std::string_view kStyle = R"css(
:root { --band: #c9dcec; --stroke: #14598c; --second: #a34e00; --grid: #e3dfd6;
  --y0: #14598c; --y1: #a34e00; --y2: #6a3aa8; --y3: #1d6b4f; --y4: #a3195b; --y5: #5f5c00;
  --h0: #7a2e00; --h1: #a85a1e; --h2: #d19a5e; --h3: #eed3b0; --h4: #e7ecf1; --h5: #b5cfe4; --h6: #6fa3cc; --h7: #2f74a9; --h8: #0d4a78; }
@media (prefers-color-scheme: dark) { :root { --band: #27445a; --stroke: #86c1ee; --second: #f0b65c; --grid: #333b41;
  --y0: #86c1ee; --y1: #f0b65c; --y2: #c9a7ff; --y3: #7fd6b2; --y4: #ff9ec6; --y5: #d9d36a; } }
.review h2 { margin-top: 2.25rem; }
.review h3 { margin: 1.25rem 0 .35rem; font-size: 1rem; }
.story { display: grid; grid-template-columns: minmax(7rem, max-content) 1fr; gap: .35rem 1rem; margin: .75rem 0; }
.story dt { color: var(--quiet); font-weight: 600; }
.story dd { margin: 0; max-width: 62rem; }
h1, h2, p, li, .story dd { overflow-wrap: anywhere; }
.scroll > .chart { display: block; min-width: 44rem; width: 100%; height: auto; padding: .25rem; }
.chart path { fill: none; stroke-width: 1.5; }
.chart .grid { stroke: var(--grid); stroke-width: 1; }
.chart .band { fill: var(--band); stroke: none; }
.chart .middle { stroke: var(--stroke); stroke-width: 2; stroke-linejoin: round; }
.chart .warn { stroke: var(--warning); stroke-dasharray: 7 4; }
.chart .crit { stroke: var(--critical); stroke-dasharray: 3 3; }
.chart .budget { stroke: var(--quiet); stroke-dasharray: 12 4 2 4; }
.chart .event { stroke: var(--second); stroke-width: 1.5; stroke-dasharray: 2 3; }
.chart .upkeep { stroke: var(--text); stroke-width: 2; }
.chart text { fill: var(--quiet); font: 14px system-ui, sans-serif; }
.chart .end { text-anchor: end; }
.chart .sign { text-anchor: middle; fill: var(--text); font-weight: 600; }
.chart .year { stroke-width: 2.2; stroke-linejoin: round; }
.chart .y0 { stroke: var(--y0); } .chart .y1 { stroke: var(--y1); stroke-dasharray: 9 3; } .chart .y2 { stroke: var(--y2); stroke-dasharray: 2 2; }
.chart .y3 { stroke: var(--y3); stroke-dasharray: 12 3 2 3; } .chart .y4 { stroke: var(--y4); stroke-dasharray: 5 5; } .chart .y5 { stroke: var(--y5); stroke-width: 3; stroke-dasharray: 1 4; stroke-linecap: round; }
.chart .bar { fill: var(--second); } .chart .dot { fill: var(--stroke); }
.tight th, .tight td { padding: .2rem .55rem; font-size: .875rem; white-space: nowrap; }
.tight td.words { white-space: normal; min-width: 18rem; }
.hours td { text-align: center; padding: .2rem .1rem; min-width: 1.7rem; font-size: .8rem; border: 0; }
.hours th { padding: .2rem .4rem; font-size: .8rem; border: 0; }
.h0 { background: var(--h0); color: #fff; } .h1 { background: var(--h1); color: #fff; } .h2 { background: var(--h2); color: #20150a; }
.h3 { background: var(--h3); color: #20150a; } .h4 { background: var(--h4); color: #14202a; } .h5 { background: var(--h5); color: #14202a; }
.h6 { background: var(--h6); color: #0b1620; } .h7 { background: var(--h7); color: #fff; } .h8 { background: var(--h8); color: #fff; }
@media (max-width: 40rem) { .story { grid-template-columns: 1fr; gap: 0; } .story dd { margin-bottom: .6rem; }
  .tight th[scope=row] { white-space: normal; min-width: 6rem; max-width: 10rem; } }
@media print {
  :root { --ground: #fff; --panel: #fff; --text: #000; --quiet: #444; --line: #999; --grid: #ddd; --band: #d5dfe8; }
  body { max-width: none; padding: 0; font-size: 10pt; }
  .scroll { overflow: visible; border: 0; } .scroll > .chart { min-width: 0; }
  h2, h3 { break-after: avoid; } tr, svg { break-inside: avoid; } nav { display: none; }
  .hours td { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
  .tight th, .tight td { font-size: 8pt; padding: .1rem .3rem; }
}
)css";

void append_head(std::string& out, std::string_view title, PageKind kind, bool again_soon = false) {
  out +=
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n";
  if (again_soon) out += "<meta http-equiv=\"refresh\" content=\"2\">\n";
  out += "<title>";
  append_html(out, title);
  out += "</title>\n";
  if (kind == PageKind::served) {
    out += "<link rel=\"stylesheet\" href=\"/style.css\">\n";
  } else {
    out += "<style>";
    out += landing_style();
    out += kStyle;
    out += "</style>\n";
  }
  out += "</head><body>\n";
}

void append_foot(std::string& out, PageKind kind) {
  out += "</main>\n";
  if (kind == PageKind::served)
    out += "<nav aria-label=\"Pages\"><ul><li><a href=\"/\">all links</a></li></ul></nav>\n";
  out += "</body></html>\n";
}

/// A table that scrolls on a narrow screen; reachable by keyboard.
void begin_table(std::string& out, std::string_view name, std::string_view style = "tight") {
  out += "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"";
  append_html(out, name);
  out += "\"><table class=\"";
  out += style;
  out += "\">\n";
}
void end_table(std::string& out) { out += "</tbody></table></div>\n"; }

void heads(std::string& out, std::initializer_list<std::string_view> names) {
  out += "<thead><tr>";
  bool first = true;
  for (const std::string_view name : names) {
    out += first ? "<th scope=\"col\">" : "<th scope=\"col\" class=\"number\">";
    out += name;
    out += "</th>";
    first = false;
  }
  out += "</tr></thead>\n<tbody>\n";
}

void row_head(std::string& out, std::string_view name) {
  out += "<tr><th scope=\"row\">";
  append_html(out, name);
  out += "</th>";
}

void number(std::string& out, const std::optional<double>& value, int decimals) {
  out += "<td class=\"number\">";
  if (value)
    append_fixed(out, *value, decimals);
  else
    out += "&ndash;";
  out += "</td>";
}
void words(std::string& out, std::string_view text, std::string_view style = {}) {
  out += style.empty() ? "<td>" : "<td class=\"" + std::string(style) + "\">";
  append_html(out, text);
  out += "</td>";
}

void begin_drawing(std::string& out, std::string_view name) {
  out += "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"";
  append_html(out, name);
  out += "\">";
}

class Page {
 public:
  Page(std::string& out, const LinkReview& review)
      : out_(out), review_(review), of_link_(", link " + review.link) {
    choose_marks();
  }

  void write() {
    out_ += "<section class=\"review\">\n<h1>Link ";
    append_html(out_, review_.link);
    out_ += "</h1>\n";
    if (!review_.empty())
      out_ += "<p class=\"quiet\">" + date_words(review_.from) + " to " + date_words(review_.to) +
              ", all times UTC. Inbound is sent by the far end and heard at the gateway; outbound "
              "is the other way.</p>\n";
    story();
    if (!review_.empty()) {
      margins();
      years();
      lasting();
      changes();
      leaves();
      months();
      hours();
      channels();
      performance();
      events();
    }
    out_ += "</section>\n";
  }

  /// The performance report alone.
  static void performance_of(std::string& out, std::string_view link, const LinkPerformance& all) {
    const std::string of_link = ", link " + std::string(link);
    for (const std::string& one : all.upkeep_differences) {
      out += "<p>";
      append_html(out, one);
      out += "</p>\n";
    }
    for (const auto& one : all.undated) {
      out += "<p>Undated: ";
      append_html(out, review::undated_words(one));
      out += "</p>\n";
    }
    if (!all.interval) {
      out += "<p>Fewer than ten frames in seven days: no availability can be told.</p>\n";
      return;
    }
    begin_table(out, "Availability by month" + of_link);
    out += "<thead><tr><th scope=\"col\">Month</th><th scope=\"col\">Way</th>";
    for (const char* head :
         {"available %", "unavailable", "errored", "severely errored", "upkeep", "no data"})
      out += "<th scope=\"col\" class=\"number\">" + std::string(head) + "</th>";
    out += "</tr></thead>\n<tbody>\n";
    const auto line = [&](std::string_view name, const Tallies& tallies) {
      for (std::size_t k = 0; k < tallies.size(); ++k) {
        if (k < kDirections && !all.known[k]) continue;
        row_head(out, name);
        words(out, kWays[k]);
        number(out, percent(tallies[k].availability()), 4);
        for (const std::uint64_t count :
             {tallies[k].unavailable, tallies[k].errored, tallies[k].severely_errored,
              tallies[k].upkeep, tallies[k].no_data})
          number(out, static_cast<double>(count), 0);
        out += "</tr>\n";
      }
    };
    line("in all", all.total);
    for (std::size_t i = all.months.size(); i-- > 0;)
      line(month_words(all.months[i].from), all.months[i].tallies);
    end_table(out);
    out += "<h3>Outages</h3>\n";
    if (all.outages.empty()) out += "<p>None.</p>\n";
    if (!all.outages.empty()) {
      begin_table(out, "Outages" + of_link);
      out +=
          "<thead><tr><th scope=\"col\">From</th><th scope=\"col\">Unavailable</th><th "
          "scope=\"col\">Way</th><th scope=\"col\">Likely cause</th></tr></thead>\n<tbody>\n";
      for (const Outage& one : all.outages) {
        row_head(out, moment_words(one.from));
        words(out, span_words(one.unavailable) + (one.open ? ", not over" : ""));
        words(out, one.direction ? name_of(*one.direction) : "both");
        words(out, std::string(meaning_of(one.cause)) + (one.text.empty() ? "" : ". " + one.text),
              "words");
        out += "</tr>\n";
      }
      end_table(out);
    }
    out += "<p class=\"quiet\">" + counting_words(all.interval) + "</p>\n";
  }

 private:
  const Digest& digest(std::size_t d) const { return review_.directions[d].digest; }

  static std::string letter_of(std::size_t upkeep) {
    return std::string(1, static_cast<char>('A' + upkeep));
  }

  static std::string sign_of(std::size_t lasting) { return "C" + std::to_string(lasting + 1); }

  /// Changes that stayed get a C with a number, the larger episodes a number, upkeeps a letter.
  void choose_marks() {
    signs_.assign(review_.episodes.size(), {});
    std::vector<std::size_t> order;
    for (std::size_t i = 0; i < review_.episodes.size(); ++i) {
      const Episode& one = review_.episodes[i];
      if ((tells_cause(one) && !passes_for_weather(one)) || one.alert == AlertName::LinkSilent)
        order.push_back(i);
    }
    std::ranges::stable_sort(order, [&](std::size_t a, std::size_t b) {
      return review_.episodes[a].size_db.value_or(0) > review_.episodes[b].size_db.value_or(0);
    });
    order.resize(std::min(order.size(), kMostMarks));
    std::ranges::sort(order);
    for (std::size_t k = 0; k < order.size(); ++k) {
      signs_[order[k]] = std::to_string(k + 1);
      marks_.push_back({review_.episodes[order[k]].from, signs_[order[k]], false});
    }
    for (std::size_t k = 0; k < review_.lasting.size(); ++k)
      marks_.push_back({review_.lasting[k].middle(), sign_of(k), false});
    for (std::size_t k = 0; k < std::min(review_.upkeep.size(), kLetters); ++k)
      marks_.push_back({review_.upkeep[k].from, letter_of(k), true});
  }

  void story() {
    out_ += "<dl class=\"story\">\n";
    std::string_view last;
    for (const StoryLine& line : review_.story) {
      if (line.topic != last) {
        out_ += "<dt>";
        append_html(out_, line.topic);
        out_ += "</dt>";
      } else {
        out_ += "<dt aria-hidden=\"true\"></dt>";
      }
      last = line.topic;
      out_ += "<dd>";
      append_html(out_, line.text, 4000);
      out_ += "</dd>\n";
    }
    out_ += "</dl>\n";
    for (const std::string& problem : review_.problems) {
      out_ += "<p class=\"warning\">Not read: ";
      append_html(out_, problem);
      out_ += "</p>\n";
    }
  }

  void margins() {
    out_ +=
        "<h2>Margin</h2>\n<p class=\"quiet\">Line: median of the days. Band: from the level that "
        "99 frames in 100 exceed to the one that 1 in 100 exceeds. "
        "Dotted lines: C1, C2 the changes that stayed, plain numbers the events, both in the "
        "tables "
        "below. Full lines with a letter: work on the link.</p>\n";
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (digest(d).empty()) continue;
      out_ += "<h3>" + std::string(kHeads[d]) + "</h3>\n";
      const std::string name = "Margin " + std::string(kWays[d]) +
                               " over time, in decibels; the months table has the numbers";
      begin_drawing(out_, name + of_link_);
      append_margin_chart(out_, review_, d, marks_, name);
      out_ += "</div>\n";
    }
    if (review_.upkeep.empty()) return;
    out_ += "<ul>\n";
    for (std::size_t k = 0; k < review_.upkeep.size(); ++k) {
      const std::string letter = k < kLetters ? letter_of(k) + ": " : std::string();
      out_ += "<li>" + letter + moment_words(review_.upkeep[k].from) + ", ";
      append_html(out_, review_.upkeep[k].note.empty() ? "upkeep" : review_.upkeep[k].note);
      out_ += ", " + span_words(review_.upkeep[k].to - review_.upkeep[k].from) + "</li>\n";
    }
    out_ += "</ul>\n";
  }

  void years() {
    bool begun = false;
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (review_.directions[d].years.size() < 2) continue;
      if (!begun)
        out_ +=
            "<h2>Year over year</h2>\n<p class=\"quiet\">Medians of weeks, laid over each "
            "other.</p>\n";
      begun = true;
      out_ += "<h3>" + std::string(kHeads[d]) + "</h3>\n";
      const std::string name =
          "Margin " + std::string(kWays[d]) + " by day of the year, one line a year, in decibels";
      begin_drawing(out_, name + of_link_);
      append_years_chart(out_, review_.directions[d].years, name);
      out_ += "</div>\n";
    }
  }

  void shift_cells(const std::optional<estimate::Shift>& shift) {
    words(out_, shift ? shift_words(*shift) : std::string("too few days"), "words");
  }

  void comparison_row(const Comparison& one) {
    row_head(out_, one.what);
    words(out_, date_digits(one.before_from) + " to " + date_digits(one.before_to));
    words(out_, date_digits(one.after_from) + " to " + date_digits(one.after_to));
    for (const auto& shift : one.margin) shift_cells(shift);
    out_ += "</tr>\n";
  }

  void lasting() {
    if (review_.lasting.empty()) return;
    out_ += "<h2>Changes that stayed</h2>\n";
    begin_table(out_, "Changes that stayed" + of_link_);
    out_ +=
        "<thead><tr><th scope=\"col\">From</th><th scope=\"col\">Mark</th><th "
        "scope=\"col\">To</th>";
    for (const char* head : {"margin inbound dB", "margin outbound dB", "noise at the gateway dB",
                             "noise at the site dB"})
      out_ += "<th scope=\"col\" class=\"number\">" + std::string(head) + "</th>";
    out_ += "<th scope=\"col\">Pattern</th></tr></thead>\n<tbody>\n";
    for (std::size_t k = 0; k < review_.lasting.size(); ++k) {
      const LastingChange& one = review_.lasting[k];
      row_head(out_, date_words(one.from));
      words(out_, sign_of(k));
      words(out_, date_words(one.to));
      for (const auto* levels : {&one.levels.margin, &one.levels.noise})
        for (const auto& shift : *levels) {
          std::string cell = "-";
          if (shift) {
            cell.clear();
            append_fixed(cell, shift->difference, 1);
            cell += " (";
            append_fixed(cell, shift->low, 1);
            cell += " to ";
            append_fixed(cell, shift->high, 1);
            cell += ")";
          }
          words(out_, cell, "number");
        }
      const Cause cause = likely_cause(one);
      words(out_, cause == Cause::none ? std::string_view("-") : meaning_of(cause), "words");
      out_ += "</tr>\n";
    }
    end_table(out_);
    out_ +=
        "<p class=\"quiet\">Steps and slow changes of the daily medians that stayed for three "
        "weeks "
        "and more, found without the alerts and sized together with the season and a steady slope, "
        "with 95 % intervals. The leaves below and the trend above are without them.</p>\n";
  }

  void changes() {
    if (review_.comparisons.empty() && review_.steps.empty() && !review_.last_weeks) return;
    out_ += "<h2>Before and after</h2>\n";
    begin_table(out_, "Before and after" + of_link_);
    out_ +=
        "<thead><tr><th scope=\"col\">What</th><th scope=\"col\">Before</th><th "
        "scope=\"col\">After</th><th scope=\"col\">Margin inbound</th><th scope=\"col\">Margin "
        "outbound</th></tr></thead>\n<tbody>\n";
    for (const Comparison& one : review_.comparisons) comparison_row(one);
    for (const EpisodeShift& one : review_.steps) comparison_row(one.across);
    if (review_.last_weeks) comparison_row(*review_.last_weeks);
    end_table(out_);
    out_ +=
        "<p class=\"quiet\">Difference of daily medians with its 95 % interval, by ranks; that "
        "weather resembles itself from day to day is taken into account. Where the same days of "
        "two years are compared, the season drops out.</p>\n";
  }

  void leaves() {
    bool begun = false;
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& all = review_.directions[d].leaves;
      if (all.empty()) continue;
      if (!begun) {
        out_ += "<h2>Leaves</h2>\n";
        begin_table(out_, "Leaves" + of_link_);
        out_ +=
            "<thead><tr><th scope=\"col\">Summer</th><th scope=\"col\">Way</th><th "
            "scope=\"col\">Margin against the winters around it</th><th scope=\"col\" "
            "class=\"number\">winters differ by dB</th><th scope=\"col\">half had come by</th><th "
            "scope=\"col\">half was gone by</th></tr></thead>\n<tbody>\n";
      }
      begun = true;
      for (const LeafYear& one : all) {
        row_head(out_, std::to_string(one.year));
        words(out_, kWays[d]);
        words(out_, shift_words(one.margin), "words");
        number(out_, one.both_sides ? std::optional(one.bare_change_db) : std::nullopt, 1);
        for (const auto& day : {one.out, one.gone})
          words(out_, day ? date_words(*day) : std::string("-"));
        out_ += "</tr>\n";
      }
    }
    if (!begun) return;
    end_table(out_);
    out_ +=
        "<p class=\"quiet\">25 May to 25 September against 25 November to 25 March. Where the two "
        "winters differ, something else changed in between and the figure holds part of it.</p>\n";
  }

  void months() {
    out_ += "<h2>Months</h2>\n";
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (digest(d).months.empty()) continue;
      out_ += "<h3>" + std::string(kHeads[d]) + "</h3>\n";
      begin_table(out_, "Months " + std::string(kWays[d]) + of_link_);
      heads(out_, {"Month", "margin dB", "1 % level dB", "99 % level dB", "signal dBm", "noise dBm",
                   "loss %", "retries %", "available %", "frames"});
      for (std::size_t i = digest(d).months.size(); i-- > 0;) {
        const SpanRow& row = digest(d).months[i];
        row_head(out_, month_words(row.from));
        for (const auto& level :
             {row.margin_db, row.margin_low_db, row.margin_high_db, row.signal_dbm, row.noise_dbm})
          number(out_, level, 1);
        number(out_, percent(row.loss_ratio), 2);
        number(out_, percent(row.retry_ratio), 2);
        number(out_, percent(month_availability(review_.performance, row.from, d)), 3);
        number(out_, static_cast<double>(row.frames), 0);
        out_ += "</tr>\n";
      }
      end_table(out_);
    }
  }

  void hours() {
    bool begun = false;
    for (std::size_t d = 0; d < kDirections; ++d) {
      const HourMap& map = digest(d).hours;
      double low = 1e9, high = -1e9;
      for (const auto& month : map)
        for (const auto& hour : month)
          if (hour) {
            low = std::min(low, *hour);
            high = std::max(high, *hour);
          }
      if (low > high) continue;
      if (!begun)
        out_ +=
            "<h2>Hour and month</h2>\n<p class=\"quiet\">Median margin in dB by month of the year "
            "and hour of the day (UTC), all years together. Brown is the weak end, blue the strong "
            "one.</p>\n";
      begun = true;
      out_ += "<h3>" + std::string(kHeads[d]) + "</h3>\n";
      begin_table(out_, "Margin by month and hour, " + std::string(kWays[d]) + of_link_, "hours");
      out_ += "<thead><tr><th scope=\"col\">Month</th>";
      for (int h = 0; h < 24; ++h) out_ += "<th scope=\"col\">" + std::to_string(h) + "</th>";
      out_ += "</tr></thead>\n<tbody>\n";
      for (std::size_t m = 0; m < map.size(); ++m) {
        row_head(out_, kShortMonths[m]);
        for (const auto& hour : map[m]) {
          if (!hour) {
            out_ += "<td>&ndash;</td>";
            continue;
          }
          const int shade =
              high > low ? static_cast<int>(std::min(8.0, (*hour - low) / (high - low) * 9)) : 4;
          out_ += "<td class=\"h" + std::to_string(shade) + "\">";
          append_rounded(out_, *hour, 0);
          out_ += "</td>";
        }
        out_ += "</tr>\n";
      }
      end_table(out_);
    }
  }

  void channels() {
    bool begun = false;
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& all = digest(d).channels;
      if (all.empty()) continue;
      if (!begun)
        out_ +=
            "<h2>Hop channels</h2>\n<p class=\"quiet\">Against the middle of all channels. Bars: "
            "noise in the last month. Dots: signal over the whole period.</p>\n";
      begun = true;
      out_ += "<h3>" + std::string(kHeads[d]) + "</h3>\n";
      const std::string name = "Hop channels " + std::string(kWays[d]) +
                               ", offsets in decibels; the table below has the numbers";
      begin_drawing(out_, name + of_link_);
      append_channel_chart(out_, all, name);
      out_ += "</div>\n<details><summary>Numbers of the " + std::to_string(all.size()) +
              " channels</summary>\n";
      begin_table(out_, "Numbers of hop channels " + std::string(kWays[d]) + of_link_);
      heads(out_, {"Channel", "frames", "signal dB", "noise dB", "noise last month dB"});
      for (const ChannelRow& row : all) {
        row_head(out_, std::to_string(row.channel));
        number(out_, static_cast<double>(row.frames), 0);
        number(out_, row.signal_offset_db, 1);
        number(out_, row.noise_offset_db, 1);
        number(out_, row.last_noise_offset_db, 1);
        out_ += "</tr>\n";
      }
      end_table(out_);
      out_ += "</details>\n";
    }
  }

  void performance() {
    out_ += "<h2>Performance report</h2>\n";
    performance_of(out_, review_.link, review_.performance);
  }

  void events() {
    if (review_.episodes.empty()) return;
    out_ += "<h2>Events</h2>\n";
    const std::size_t skipped =
        review_.episodes.size() > kMostEvents ? review_.episodes.size() - kMostEvents : 0;
    if (skipped > 0)
      out_ += "<p class=\"quiet\">The last " + std::to_string(kMostEvents) +
              " and the numbered ones of " + std::to_string(review_.episodes.size()) + ".</p>\n";
    begin_table(out_, "Events" + of_link_);
    out_ +=
        "<thead><tr><th scope=\"col\">From</th><th scope=\"col\">Mark</th><th "
        "scope=\"col\">To</th><th scope=\"col\">Alert</th><th scope=\"col\">Likely cause</th><th "
        "scope=\"col\" class=\"number\">dB</th><th scope=\"col\">Told at the "
        "time</th></tr></thead>\n<tbody>\n";
    for (std::size_t i = review_.episodes.size(); i-- > 0;) {
      const Episode& one = review_.episodes[i];
      if (i < skipped && signs_[i].empty()) continue;
      row_head(out_, moment_words(one.from));
      words(out_, signs_[i]);
      words(out_, one.to ? moment_words(*one.to) : std::string("still standing"));
      words(out_, std::string(name_of(one.alert)) +
                      (one.direction ? ", " + std::string(name_of(*one.direction)) : "") +
                      (one.port.empty() ? "" : ", port " + one.port));
      words(out_, one.cause == Cause::none ? std::string_view("-") : meaning_of(one.cause));
      number(out_, one.size_db && *one.size_db != 0 ? one.size_db : std::nullopt, 1);
      words(out_, one.text, "words");
      out_ += "</tr>\n";
    }
    end_table(out_);
  }

  std::string& out_;
  const LinkReview& review_;
  const std::string of_link_;       ///< names of regions are told apart where links stand together
  std::vector<std::string> signs_;  ///< of each episode; empty: not marked
  std::vector<ChartMark> marks_;
};

}  // namespace

std::string review_page(std::span<const LinkReview> reviews, PageKind kind) {
  std::string out;
  append_head(out,
              reviews.size() == 1 ? "Review of " + reviews[0].link : std::string("Review of links"),
              kind);
  out += "<main>\n";
  for (const LinkReview& review : reviews) Page(out, review).write();
  append_foot(out, kind);
  return out;
}

std::string report_page(std::span<const NamedPerformance> links, PageKind kind) {
  std::string out;
  append_head(out, "Performance report", kind);
  out += "<main>\n<h1>Performance report</h1>\n";
  begin_table(out, "All links");
  heads(out, {"Link", "available %", "inbound %", "outbound %", "outages", "errored %",
              "severely errored %", "interval"});
  for (const NamedPerformance& one : links) {
    row_head(out, one.link);
    number(out, percent(one.performance.total[kBothWays].availability()), 4);
    for (std::size_t d = 0; d < kDirections; ++d)
      number(out, percent(one.performance.total[d].availability()), 4);
    number(out, static_cast<double>(one.performance.outages.size()), 0);
    number(out, percent(one.performance.total[kBothWays].errored_ratio()), 3);
    number(out, percent(one.performance.total[kBothWays].severely_errored_ratio()), 4);
    words(out, one.performance.interval ? span_words(*one.performance.interval) : std::string("-"),
          "number");
    out += "</tr>\n";
  }
  row_head(out, "all links");
  number(out, percent(network_seconds(links).availability()), 4);
  out += "<td colspan=\"6\"></td></tr>\n";
  end_table(out);
  for (const NamedPerformance& one : links) {
    out += "<section class=\"review\"><h2>";
    append_html(out, one.link);
    out += "</h2>\n";
    if (one.performance.from != Time{})
      out += "<p class=\"quiet\">" + moment_words(one.performance.from) + " to " +
             moment_words(one.performance.to) + "</p>\n";
    Page::performance_of(out, one.link, one.performance);
    out += "</section>\n";
  }
  append_foot(out, kind);
  return out;
}

std::string plain_page(std::string_view title, std::string_view sentence, bool again_soon) {
  std::string out;
  append_head(out, title, PageKind::served, again_soon);
  out += "<main>\n<h1>";
  append_html(out, title);
  out += "</h1>\n<p>";
  append_html(out, sentence);
  out += "</p>\n";
  append_foot(out, PageKind::served);
  return out;
}

std::string_view review_style() { return kStyle; }

}  // namespace fadeward::publish
