#include <algorithm>
#include <cmath>

#include "fadeward/base/html_text.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/budget/exposure.hpp"
#include "fadeward/budget/report.hpp"

namespace fadeward::budget {
namespace {

constexpr DrawingSize kWideDrawing{1000, 400};
constexpr DrawingSize kNarrowDrawing{340, 300};

// Blue and plum stay apart for colour-blind readers; what they say stands in words as well.
constexpr std::string_view kStyle = R"css(
:root { color-scheme: light dark; --ground: #fbfaf7; --panel: #fff; --text: #20262b; --quiet: #565f66; --line: #d4d0c6;
  --in: #14598c; --out: #a34e00; --bad: #8c1250; }
@media (prefers-color-scheme: dark) { :root { --ground: #171b1e; --panel: #1f2529; --text: #e8e6e0; --quiet: #a9b1b6;
  --line: #3b444a; --in: #86c1ee; --out: #f0b65c; --bad: #ff9ec6; } }
@media print { :root { color-scheme: light; --ground: #fff; --panel: #fff; --text: #000; --quiet: #444; --line: #bbb;
  --in: #14598c; --out: #a34e00; --bad: #8c1250; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 66rem; background: var(--ground); color: var(--text); font: 1rem/1.5 system-ui, sans-serif; }
h1 { margin: 0; font-size: 1.5rem; } h2 { margin: 2rem 0 .25rem; font-size: 1.25rem; } h3 { margin: 1.5rem 0 .4rem; font-size: 1rem; }
p { margin: .25rem 0; } ul { margin: .25rem 0; padding-left: 1.2rem; } li { margin: .2rem 0; overflow-wrap: anywhere; }
.margins { font-size: 1.125rem; } .margins b { font-size: 1.375rem; font-variant-numeric: tabular-nums; } .short { color: var(--bad); }
.panel { background: var(--panel); border: 1px solid var(--line); border-radius: .4rem; padding: .5rem .6rem; }
.narrow { display: none; }
table { border-collapse: collapse; width: 100%; background: var(--panel); border: 1px solid var(--line); }
th, td { padding: .3rem .6rem; text-align: left; vertical-align: top; border-bottom: 1px solid var(--line); font-weight: 400; overflow-wrap: anywhere; }
thead th { color: var(--quiet); font-size: .875rem; } .sum th, .sum td { font-weight: 650; }
td.n, th.n { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; } .unit { white-space: nowrap; width: 1%; }
.note { color: var(--quiet); font-size: .875rem; display: block; } .breaks { color: var(--bad); font-size: .875rem; display: block; }
.bars { width: 30%; } .bar { display: block; height: .5rem; margin: .28rem 0; min-width: 1px; border-radius: .1rem; }
.bar.in { background: var(--in); } .bar.out { background: var(--out); } thead .in { color: var(--in); } thead .out { color: var(--out); }
@media (max-width: 40rem) { .wide, .bars { display: none; } .narrow { display: block; } th, td { padding: .3rem .4rem; } body { padding: .75rem; } }
@media print { html { font-size: 11px; } body { max-width: none; padding: 0; } .wide { display: block; } .narrow { display: none; } .bars { display: table-cell; }
  h2, h3 { break-after: avoid; } tr, svg, .panel { break-inside: avoid; } section + section { break-before: page; }
  .bar { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
)css";

std::string fixed(std::optional<double> value, int decimals = 1) {
  std::string out;
  if (value)
    append_fixed(out, *value, decimals);
  else
    out = "not known";
  return out;
}

std::string signed_db(double value) {
  const std::string text = fixed(value);
  return text.starts_with('-') || text == "0.0" ? text : "+" + text;
}

void put(std::string& out, std::string_view before, std::string_view text, std::string_view after) {
  out += before;
  append_html(out, text);
  out += after;
}

void put_list(std::string& out, const auto& items) {
  out += "<ul>\n";
  for (const auto& item : items) put(out, "<li>", item, "</li>\n");
  out += "</ul>\n";
}

// ---- margins and path ------------------------------------------------------------------------

void put_margin(std::string& out, const LinkBudget& budget, Direction which) {
  const Figure& margin = budget.direction(which).margin_db;
  out += "<p class=\"margins\">";
  put(out, "Margin ", name_of(which), " ");
  if (!margin.value)
    put(out, "is not known: ", margin.reason, "");
  else
    put(out, *margin.value < 0 ? "<b class=\"short\">" : "<b>", fixed(margin.value), " dB</b>");
  const auto& direction = budget.direction(which);
  if (direction.availability.value)
    put(out, ", ",
        fixed(*direction.availability.value * 100, 4) + " % of the time by " +
            direction.availability_method,
        "");
  out += "</p>\n";
}

std::string clearance_words(const LinkBudget& budget) {
  if (!budget.fresnel_clearance_ratio.value)
    return "The path is not drawn: " + budget.fresnel_clearance_ratio.reason + ".";
  std::string text = "Least clearance: " + fixed(*budget.fresnel_clearance_ratio.value, 2) +
                     " of the first Fresnel zone at " + fixed(budget.fresnel_at_km, 2) + " km";
  if (budget.fresnel_clearance_ratio_worst_month.value)
    text +=
        "; " + fixed(*budget.fresnel_clearance_ratio_worst_month.value, 2) + " in the worst month";
  return text + ". Below 0 the line of sight is obstructed.";
}

void put_path(std::string& out, const Plan& plan) {
  if (plan.view) {
    out += "<div class=\"panel\"><div class=\"wide\">" + draw_path(*plan.view, kWideDrawing) +
           "</div><div class=\"narrow\">" + draw_path(*plan.view, kNarrowDrawing) + "</div>";
    out += path_drawing_legend();
    out += "</div>\n";
  }
  put(out, "<p>", clearance_words(plan.budget), "</p>\n");
}

// ---- from power to margin --------------------------------------------------------------------

struct Row {
  std::string what;
  std::optional<double> inbound, outbound;
  std::string unit = "dB";
  std::string note = {};
  bool sum = false;
};

std::optional<double> less(const Figure& loss) {
  return loss.value ? std::optional(-*loss.value) : std::nullopt;
}

/// What leaves the sender and what the path takes: each term with its sign.
void add_path(std::vector<Row>& rows, const Plan& plan) {
  const SiteSettings& near = plan.terms.near;
  const SiteSettings& far = plan.terms.far;
  const LinkBudget& budget = plan.budget;
  const auto both = [&](std::string what, const Figure& loss, std::string note = {}) {
    rows.push_back({std::move(what), less(loss), less(loss), "dB",
                    loss.value ? std::move(note) : loss.reason});
  };
  rows.push_back({"power of the sender", far.power_dbm, near.power_dbm, "dBm"});
  rows.push_back({"its feeder", -far.feeder_db, -near.feeder_db});
  rows.push_back({"its antenna", far.antenna_dbi, near.antenna_dbi, "dBi"});
  both("free space", budget.free_space_db);
  both("gas of the air", budget.gas_db);
  both("diffraction", budget.diffraction_db, diffraction_note(budget));
  const bool wooded = budget.foliage_db.value.value_or(0) > 0;
  both("trees", budget.foliage_db,
       wooded ? "in leaf; leafless " + fixed(budget.foliage_leafless_db.value) + " dB" : "");
  const double polarisation_db = near.polarisation_db + far.polarisation_db;
  if (polarisation_db > 0) rows.push_back({"polarisation", -polarisation_db, -polarisation_db});
  if (plan.terms.extra_loss_db > 0)
    rows.push_back({"other losses", -plan.terms.extra_loss_db, -plan.terms.extra_loss_db});
  rows.push_back({"antenna of the receiver", near.antenna_dbi, far.antenna_dbi, "dBi"});
  rows.push_back({"its feeder", -near.feeder_db, -far.feeder_db});
}

std::vector<Row> ladder(const Plan& plan) {
  const DirectionBudget& in = plan.budget.direction(Direction::inbound);
  const DirectionBudget& out = plan.budget.direction(Direction::outbound);
  std::vector<Row> rows;
  if (!in.signal_given && !out.signal_given) add_path(rows, plan);
  const bool given = in.signal_given || out.signal_given;
  rows.push_back({"signal at the receiver", in.signal_dbm.value, out.signal_dbm.value, "dBm",
                  given ? "as given in the settings" : in.signal_dbm.reason, true});
  rows.push_back({"less its noise", in.noise_dbm, out.noise_dbm, "dBm"});
  rows.push_back({"less the SNR it needs", in.required_snr_db, out.required_snr_db});
  rows.push_back({"margin", in.margin_db.value, out.margin_db.value, "dB", "", true});
  rows.push_back({"the weakest level received", in.sensitivity_dbm, out.sensitivity_dbm, "dBm",
                  "sensitivity: noise and the SNR needed"});
  return rows;
}

void put_ladder(std::string& out, const Plan& plan) {
  out +=
      "<h3>From power to margin</h3>\n<table><thead><tr><th></th><th class=\"n\">inbound</th>"
      "<th class=\"n\">outbound</th><th></th></tr></thead><tbody>\n";
  for (const Row& row : ladder(plan)) {
    out += row.sum ? "<tr class=\"sum\">" : "<tr>";
    put(out, "<th scope=\"row\">", row.what, "");
    if (!row.note.empty()) put(out, "<span class=\"note\">", row.note, "</span>");
    put(out, "</th><td class=\"n\">", fixed(row.inbound, 2), "</td>");
    put(out, "<td class=\"n\">", fixed(row.outbound, 2), "</td>");
    put(out, "<td class=\"unit\">", row.unit, "</td></tr>\n");
  }
  out += "</tbody></table>\n";
  if (plan.budget.bit_rate_bps.value && plan.budget.time_on_air_s.value)
    put(out, "<p>",
        fixed(plan.budget.bit_rate_bps.value, 0) + " bit/s; " + air_time_note(plan.budget) +
            " on the air.",
        "</p>\n");
}

// ---- which decibel is cheapest ---------------------------------------------------------------

void put_bar(std::string& out, std::string_view style, double gain_db, double most_db) {
  std::string share;
  append_rounded(share, most_db > 0 ? 100 * std::max(0.0, gain_db) / most_db : 0, 1);
  out += "<span class=\"bar " + std::string(style) + "\" style=\"width:" + share + "%\"></span>";
}

void put_improvements(std::string& out, const std::vector<Improvement>& improvements) {
  if (improvements.empty()) return;
  double most_db = 0;
  for (const Improvement& one : improvements)
    most_db = std::max({most_db, one.gains_db[0], one.gains_db[1]});
  out +=
      "<h3>Which decibel is cheapest</h3>\n<p>What single changes would add to the margins, the "
      "weaker direction first. What they cost is known to whoever plans.</p>\n"
      "<table><thead><tr><th>change</th><th class=\"bars\"></th><th class=\"n in\">inbound</th>"
      "<th class=\"n out\">outbound, dB</th></tr></thead><tbody>\n";
  for (const Improvement& one : improvements) {
    put(out, "<tr><th scope=\"row\">", one.what, "");
    if (!one.price.empty()) put(out, "<span class=\"note\">", one.price, "</span>");
    for (const std::string& rule : one.breaks)
      put(out, "<span class=\"breaks\">breaks ", rule, "</span>");
    out += "</th><td class=\"bars\" aria-hidden=\"true\">";
    put_bar(out, "in", one.gains_db[0], most_db);
    put_bar(out, "out", one.gains_db[1], most_db);
    put(out, "</td><td class=\"n\">", signed_db(one.gains_db[0]), "</td>");
    put(out, "<td class=\"n\">", signed_db(one.gains_db[1]), "</td></tr>\n");
  }
  out += "</tbody></table>\n";
}

// ---- the rest --------------------------------------------------------------------------------

void put_availability(std::string& out, const LinkBudget& budget) {
  const std::vector<MethodRow> rows = methods_of(budget);
  if (rows.empty()) return;
  out +=
      "<h3>Share of time that the margin lasts</h3>\n<table><thead><tr><th>method</th>"
      "<th class=\"n\">inbound</th><th class=\"n\">outbound, %</th></tr></thead><tbody>\n";
  for (const MethodRow& row : rows) {
    put(out, "<tr><th scope=\"row\">", row.method, "");
    if (!row.reason().empty()) put(out, "<span class=\"note\">", row.reason(), "</span>");
    out += "</th>";
    for (const Figure* share : {&row.inbound, &row.outbound})
      put(out, "<td class=\"n\">", share->value ? fixed(*share->value * 100, 4) : "-", "</td>");
    out += "</tr>\n";
  }
  out += "</tbody></table>\n";
}

void put_exposure(std::string& out, const LinkBudget& budget) {
  out += "<h3>Keep people away</h3>\n<p>";
  for (const auto& [end, distance] :
       {std::pair{"Near", &budget.near_exposure_m}, std::pair{"far", &budget.far_exposure_m}}) {
    out += end;
    if (distance->value)
      put(out, " antenna: ", fixed(distance->value, 2), " m");
    else
      put(out, " antenna: not known (", distance->reason, ")");
    out += distance == &budget.near_exposure_m ? "; " : ". ";
  }
  put(out, "Limit of exposure: ", name_of(ExposureLimit::stricter), ".</p>\n");
}

void put_cautions(std::string& out, const LinkBudget& budget) {
  std::vector<std::string> cautions;
  for (const Caution& caution : budget.cautions)
    cautions.push_back(caution.rule + ": " + caution.text);
  if (!cautions.empty()) {
    out += "<h3>Cautions</h3>\n";
    put_list(out, cautions);
  }
  out += "<h3>Taken for granted</h3>\n";
  put_list(out, budget.assumptions);
}

void put_plan(std::string& out, const Plan& plan) {
  const LinkBudget& budget = plan.budget;
  put(out, "<section>\n<h2>Link ", budget.link, "");
  if (budget.distance_km) put(out, ", ", fixed(budget.distance_km, 2), " km");
  out += "</h2>\n";
  put_margin(out, budget, Direction::inbound);
  put_margin(out, budget, Direction::outbound);
  put_path(out, plan);
  put_ladder(out, plan);
  put_improvements(out, plan.improvements);
  put_availability(out, budget);
  put_exposure(out, budget);
  put_cautions(out, budget);
  out += "</section>\n";
}

}  // namespace

std::string to_html(std::span<const Plan> plans) {
  std::string out =
      "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
      "<meta name=\"viewport\" content=\"width=device-width\"><title>";
  const std::string title =
      plans.size() == 1 ? "Budget of the link " + plans[0].budget.link : "Link budgets";
  append_html(out, title);
  out += "</title><style>";
  out += kStyle;
  out += path_drawing_style();
  put(out, "</style></head><body>\n<h1>", title, "</h1>\n");
  out +=
      "<p>Inbound is sent by the far end and heard at the near end, outbound the other way.</p>\n";
  for (const Plan& plan : plans) put_plan(out, plan);
  out += "<h3>Always</h3>\n";
  put_list(out, standing_cautions());
  out += "</body></html>\n";
  return out;
}

}  // namespace fadeward::budget
