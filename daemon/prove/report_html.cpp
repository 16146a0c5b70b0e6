#include "fadeward/base/html_text.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/prove/report.hpp"
#include "report_figures.hpp"

namespace fadeward::prove {

namespace {

// Colours with a contrast above 7 on white; the verdict stands in words as well.
constexpr std::string_view kStyle = R"css(
body { font: 15px/1.45 system-ui, sans-serif; color: #1b2226; background: #fff; max-width: 52rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.4rem; margin: 0 0 .25rem; } h2 { font-size: 1.05rem; margin: 1.6rem 0 .4rem; }
.verdict { border-left: .5rem solid; padding: .5rem .9rem; font-weight: 650; background: #f4f4f1; }
.passed { border-color: #14598c; color: #0f4870; } .failed { border-color: #8c2a00; color: #7a2500; } .undecided { border-color: #5c5142; color: #4b4236; }
table { border-collapse: collapse; width: 100%; } th, td { text-align: right; padding: .25rem .6rem; border-bottom: 1px solid #d9d6cc; }
th:first-child, td:first-child, .words td { text-align: left; } th { font-weight: 600; }
td { font-variant-numeric: tabular-nums; } td:last-child { overflow-wrap: anywhere; }
.words td:not(:last-child) { white-space: nowrap; width: 1%; padding-right: 1.4rem; } .sub td { color: #4b4f50; }
.sign td { height: 2.4rem; vertical-align: bottom; border-bottom: 1px solid #1b2226; } .words.sign td:nth-child(even) { width: 40%; } .sign td:nth-child(odd) { border: 0; color: #4b4f50; }
ul { padding-left: 1.2rem; } @media print { body { margin: 0; font-size: 12px; } h2 { break-after: avoid; } table, ul { break-inside: avoid; } }
)css";

void put_cell(std::string& out, std::string_view text) {
  out += "<td>";
  append_html(out, text);
  out += "</td>";
}

void put_facts(std::string& out, const std::vector<Fact>& facts) {
  out += "<table class=\"words\">";
  for (const auto& [name, value] : facts) {
    out += "<tr>";
    put_cell(out, name);
    put_cell(out, value);
    out += "</tr>\n";
  }
  out += "</table>\n";
}

void put_counts(std::string& out, const Proof& proof) {
  out += "<h2>Frames</h2>\n<table><tr><th></th><th>outbound</th><th>inbound</th>"
         "<th>round trip</th></tr>\n";
  for (const CountRow& row : count_rows(proof)) {
    out += row.what.starts_with(' ') ? "<tr class=\"sub\">" : "<tr>";
    for (const std::string& cell : {row.what, row.outbound, row.inbound, row.trip})
      put_cell(out, cell);
    out += "</tr>\n";
  }
  out += "</table>\n<p>Outbound is sent by the near end and heard at the far end, inbound the other "
         "way. The limits are exact binomial ones (Clopper and Pearson), two-sided.</p>\n";
}

void put_items(std::string& out, const auto& items) {
  out += "<ul>\n";
  for (const auto& item : items) {
    out += "<li>";
    append_html(out, item);
    out += "</li>\n";
  }
  out += "</ul>\n";
}

std::string height_words(const std::optional<double>& height_m) {
  if (!height_m) return "";
  return rounded_text(*height_m) + " m (as configured)";
}

void put_signatures(std::string& out, const Proof& proof) {
  const std::vector<std::pair<Fact, Fact>> rows = {
      {{"Place, near end", ""}, {"Place, far end", ""}},
      {{"Antenna height", height_words(proof.near_height_m)},
       {"Antenna height", height_words(proof.far_height_m)}},
      {{"Antenna, feeder", ""}, {"Antenna, feeder", ""}},
      {{"Weather", ""}, {"Foliage, ground", ""}},
      {{"Tested by", ""}, {"Accepted by", ""}},
      {{"Date, signature", ""}, {"Date, signature", ""}}};
  out += "<h2>To be filled in and signed</h2>\n<table class=\"words sign\">";
  for (const auto& [left, right] : rows) {
    out += "<tr>";
    for (const Fact& fact : {left, right}) {
      put_cell(out, fact.first);
      put_cell(out, fact.second);
    }
    out += "</tr>\n";
  }
  out += "</table>\n";
}

void put_verdict(std::string& out, const Proof& proof) {
  out += "<p class=\"verdict " + std::string(name_of(proof.verdict.outcome)) + "\">";
  append_html(out, verdict_headline(proof));
  out += "</p>\n<table class=\"words\">";
  for (const Finding& finding : proof.verdict.findings) {
    out += "<tr>";
    put_cell(out, name_of(finding.outcome));
    put_cell(out, finding.criterion);
    put_cell(out, finding.text);
    out += "</tr>\n";
  }
  out += "</table>\n";
}

}  // namespace

std::string to_html(const Proof& proof) {
  const std::string title =
      "Proof of a radio link" + (proof.link.empty() ? "" : ": " + proof.link);
  std::string out = "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
                    "<meta name=\"viewport\" content=\"width=device-width\"><title>";
  append_html(out, title);
  out += "</title><style>";
  out += kStyle;
  out += "</style></head><body>\n<h1>";
  append_html(out, title);
  out += "</h1>\n";
  put_verdict(out, proof);
  out += "<h2>Run</h2>\n";
  put_facts(out, heading_facts(proof));
  put_counts(out, proof);
  if (const auto latencies = latency_facts(proof); !latencies.empty()) {
    out += "<h2>Round trip</h2>\n";
    put_facts(out, latencies);
  }
  auto notes = remarks(proof);
  if (!proof.margins_note.empty()) notes.insert(notes.begin(), proof.margins_note);
  out += "<h2>Notes</h2>\n";
  put_items(out, notes);
  put_signatures(out, proof);
  out += "<h2>Cautions</h2>\n";
  put_items(out, proof.cautions);
  out += "<p>";
  append_html(out, proof.program);
  out += "</p>\n</body></html>\n";
  return out;
}

}  // namespace fadeward::prove
