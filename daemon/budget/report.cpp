#include "fadeward/budget/report.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "fadeward/base/text.hpp"
#include "fadeward/budget/exposure.hpp"
#include "fadeward/budget/time_on_air.hpp"

namespace fadeward::budget {
namespace {

constexpr int kLevelDecimals = 4;
constexpr int kShareDecimals = 9;

constexpr std::array<std::string_view, 4> kStanding{
    "Keep people out of the exposure distance of each antenna while it can transmit; never work in "
    "front of a live antenna.",
    "Masts, ladders and lightning: work on masts is for qualified people only, under local rules, "
    "and never with a storm near.",
    "Rule checks are an aid and no legal advice: the local regulator and the radio's certificate "
    "decide.",
    "A radio link must not be the only protection of people or plant: fail-safe belongs at the "
    "site."};

// ---- JSON ----------------------------------------------------------------------------------

/// One JSON object under construction; members in the order they are added.
class Object {
 public:
  explicit Object(std::string& out) : out_(out) { out_ += '{'; }
  void close() { out_ += '}'; }

  std::string& key(std::string_view name) {
    if (!first_) out_ += ',';
    first_ = false;
    append_json_string(out_, name);
    out_ += ':';
    return out_;
  }
  void text(std::string_view name, std::string_view value) { append_json_string(key(name), value); }
  void text_or_null(std::string_view name, std::string_view value) {
    if (value.empty())
      key(name) += "null";
    else
      text(name, value);
  }
  void number(std::string_view name, std::optional<double> value, int decimals = kLevelDecimals) {
    key(name);
    if (value)
      append_rounded(out_, *value, decimals);
    else
      out_ += "null";
  }
  void flag(std::string_view name, bool value) { key(name) += value ? "true" : "false"; }

 private:
  std::string& out_;
  bool first_ = true;
};

template <class Items, class Write>
void append_array(std::string& out, const Items& items, Write write) {
  out += '[';
  bool first = true;
  for (const auto& item : items) {
    if (!first) out += ',';
    first = false;
    write(item);
  }
  out += ']';
}

using NamedFigures = std::vector<std::pair<std::string_view, const Figure*>>;

void append_reasons(Object& object, std::string& out, const NamedFigures& figures) {
  object.key("reasons");
  Object reasons(out);
  for (const auto& [name, figure] : figures)
    if (!figure->value) reasons.text(name, figure->reason);
  reasons.close();
}

void append_direction(std::string& out, const DirectionBudget& direction) {
  Object object(out);
  object.number("eirp_dbm", direction.eirp_dbm.value);
  object.number("signal_dbm", direction.signal_dbm.value);
  object.flag("signal_given", direction.signal_given);
  object.number("noise_dbm", direction.noise_dbm);
  object.number("required_snr_db", direction.required_snr_db);
  object.number("sensitivity_dbm", direction.sensitivity_dbm);
  object.number("margin_db", direction.margin_db.value);
  object.number("availability", direction.availability.value, kShareDecimals);
  object.text_or_null("availability_method", direction.availability_method);
  object.text_or_null("reason", direction.availability.reason);
  object.key("availability_by_method");
  append_array(out, direction.availability_by_method, [&](const Availability& method) {
    Object entry(out);
    entry.text("method", method.method);
    entry.number("availability", method.share.value, kShareDecimals);
    entry.text_or_null("reason", method.share.reason);
    entry.close();
  });
  append_reasons(object, out,
                 {{"eirp_dbm", &direction.eirp_dbm},
                  {"signal_dbm", &direction.signal_dbm},
                  {"margin_db", &direction.margin_db}});
  object.close();
}

void append_caution(std::string& out, const Caution& caution) {
  Object object(out);
  object.text("rule", caution.rule);
  object.number("limit", caution.limit, kShareDecimals);
  object.number("value", caution.value, kShareDecimals);
  object.text("text", caution.text);
  object.close();
}

void append_improvement(std::string& out, const Improvement& improvement) {
  Object object(out);
  object.text("what", improvement.what);
  object.number("inbound_db", improvement.gains_db[0]);
  object.number("outbound_db", improvement.gains_db[1]);
  object.number("weaker_db", improvement.weaker_gain_db);
  object.text_or_null("price", improvement.price);
  object.key("breaks");
  append_array(out, improvement.breaks,
               [&](const std::string& rule) { append_json_string(out, rule); });
  object.close();
}

void append_plan(std::string& out, const Plan& plan) {
  const LinkBudget& budget = plan.budget;
  Object object(out);
  object.text("link", budget.link);
  object.number("distance_km", budget.distance_km);
  object.number("free_space_db", budget.free_space_db.value);
  object.number("gas_db", budget.gas_db.value);
  object.number("diffraction_db", budget.diffraction_db.value);
  object.number("knife_edge_db", budget.knife_edge_db.value);
  object.number("foliage_db", budget.foliage_db.value);
  object.number("foliage_leafless_db", budget.foliage_leafless_db.value);
  for (Direction which : {Direction::inbound, Direction::outbound})
    append_direction(object.key(name_of(which)), budget.direction(which));
  object.number("fresnel_clearance_ratio", budget.fresnel_clearance_ratio.value);
  object.number("at_km", budget.fresnel_at_km);
  object.number("fresnel_clearance_ratio_worst_month",
                budget.fresnel_clearance_ratio_worst_month.value);
  object.number("bit_rate_bps", budget.bit_rate_bps.value);
  object.number("time_on_air_s", budget.time_on_air_s.value, 6);
  object.number("time_on_air_payload_bytes", static_cast<double>(kTypicalPayloadBytes));
  object.key("exposure_distance_m");
  Object exposure(out);
  exposure.number("near", budget.near_exposure_m.value);
  exposure.number("far", budget.far_exposure_m.value);
  exposure.close();
  object.key("improvements");
  append_array(out, plan.improvements,
               [&](const Improvement& one) { append_improvement(out, one); });
  object.key("cautions");
  append_array(out, budget.cautions, [&](const Caution& caution) { append_caution(out, caution); });
  object.key("assumptions");
  append_array(out, budget.assumptions,
               [&](const std::string& text) { append_json_string(out, text); });
  object.key("standing");
  append_array(out, kStanding, [&](std::string_view text) { append_json_string(out, text); });
  append_reasons(object, out,
                 {{"free_space_db", &budget.free_space_db},
                  {"gas_db", &budget.gas_db},
                  {"diffraction_db", &budget.diffraction_db},
                  {"foliage_db", &budget.foliage_db},
                  {"fresnel_clearance_ratio", &budget.fresnel_clearance_ratio},
                  {"bit_rate_bps", &budget.bit_rate_bps},
                  {"time_on_air_s", &budget.time_on_air_s},
                  {"exposure_distance_m.near", &budget.near_exposure_m},
                  {"exposure_distance_m.far", &budget.far_exposure_m}});
  object.close();
}

// ---- text ----------------------------------------------------------------------------------

constexpr std::size_t kLabelWidth = 26;
constexpr std::size_t kValueWidth = 12;

std::string padded_left(std::string text, std::size_t width) {
  if (text.size() < width) text.insert(0, width - text.size(), ' ');
  return text;
}

std::string padded_right(std::string text, std::size_t width) {
  if (text.size() < width) text.append(width - text.size(), ' ');
  return text;
}

/// A fixed number of decimals, so that the points stand under each other.
std::string fixed(double value, int decimals) {
  std::array<char, 400> text;  // the largest double has 309 digits before the point
  const auto [end, failure] = std::to_chars(text.data(), text.data() + text.size(), value,
                                            std::chars_format::fixed, decimals);
  std::string_view digits(text.data(), static_cast<std::size_t>(end - text.data()));
  const bool minus_nothing =
      digits.starts_with('-') && digits.find_first_of("123456789") == std::string_view::npos;
  if (minus_nothing) digits.remove_prefix(1);
  return failure == std::errc{} ? std::string(digits) : "-";
}

std::string cell(const std::optional<double>& value, int decimals) {
  return padded_left(value ? fixed(*value, decimals) : "-", kValueWidth);
}

class Page {
 public:
  explicit Page(std::string& out) : out_(out) {}

  void one(std::string_view label, const Figure& figure, int decimals, std::string_view unit,
           const std::string& note = {}) {
    out_ += "  " + padded_right(std::string(label), kLabelWidth) + cell(figure.value, decimals) +
            " " + std::string(unit);
    const std::string& remark = figure.value ? note : figure.reason;
    if (!remark.empty()) out_ += "   " + printable(remark);
    out_ += '\n';
  }
  void two(std::string_view label, std::optional<double> inbound, std::optional<double> outbound,
           int decimals, std::string_view unit) {
    out_ += "  " + padded_right(std::string(label), kLabelWidth) + cell(inbound, decimals) +
            cell(outbound, decimals) + " " + std::string(unit) + "\n";
  }
  void line(const std::string& text) { out_ += text + "\n"; }

 private:
  std::string& out_;
};

std::optional<double> percent(const Figure& share) {
  return share.value ? std::optional(*share.value * 100) : std::nullopt;
}

/// Directions may have their methods each: one that needs a margin above 0 is silent without.
std::string method_words(const std::string& inbound, const std::string& outbound) {
  if (inbound.empty() && outbound.empty()) return {};
  if (inbound.empty() || outbound.empty() || inbound == outbound)
    return "   by " + (inbound.empty() ? outbound : inbound);
  return "   by " + inbound + "; outbound by " + outbound;
}

void print_directions(Page& page, const LinkBudget& budget) {
  const DirectionBudget& in = budget.direction(Direction::inbound);
  const DirectionBudget& out = budget.direction(Direction::outbound);
  page.line("  " + padded_right("", kLabelWidth) + padded_left("inbound", kValueWidth) +
            padded_left("outbound", kValueWidth));
  page.two("e.i.r.p. of the sender", in.eirp_dbm.value, out.eirp_dbm.value, 2, "dBm");
  page.two("signal at the receiver", in.signal_dbm.value, out.signal_dbm.value, 2, "dBm");
  page.two("receiver noise", in.noise_dbm, out.noise_dbm, 2, "dBm");
  page.two("required SNR", in.required_snr_db, out.required_snr_db, 2, "dB");
  page.two("sensitivity", in.sensitivity_dbm, out.sensitivity_dbm, 2, "dBm");
  page.two("margin", in.margin_db.value, out.margin_db.value, 2, "dB");
  page.two("availability", percent(in.availability), percent(out.availability), 4,
           "%" + method_words(in.availability_method, out.availability_method));
  for (Direction which : {Direction::inbound, Direction::outbound}) {
    const DirectionBudget& direction = budget.direction(which);
    if (!direction.margin_db.value)
      page.line("  " + std::string(name_of(which)) +
                " not known: " + printable(direction.margin_db.reason));
    else if (direction.signal_given)
      page.line("  " + std::string(name_of(which)) + " signal as given in the settings");
  }
}

/// All methods beside each other; where one is silent, why.
void print_availability(Page& page, const LinkBudget& budget) {
  const std::vector<MethodRow> rows = methods_of(budget);
  if (rows.empty()) return;
  constexpr std::string_view kTitle = "Share of time the margin lasts";
  std::size_t width = kTitle.size();
  for (const MethodRow& row : rows)
    if (!row.silent()) width = std::max(width, row.method.size());
  page.line("");
  page.line("  " + padded_right(std::string(kTitle), width) + padded_left("inbound", kValueWidth) +
            padded_left("outbound", kValueWidth));
  for (const MethodRow& row : rows)
    if (!row.silent())
      page.line("  " + padded_right(row.method, width) + cell(percent(row.inbound), 4) +
                cell(percent(row.outbound), 4) + " %" +
                (row.reason().empty() ? "" : "   " + printable(row.reason())));
  for (const MethodRow& row : rows)
    if (row.silent()) page.line("  - " + printable(row.reason()));
}

void print_list(Page& page, std::string_view title, const std::vector<std::string>& lines) {
  if (lines.empty()) return;
  page.line("  " + std::string(title));
  for (const std::string& text : lines) page.line("    - " + printable(text, 400));
}

std::string described(const Caution& caution) { return caution.rule + ": " + caution.text; }

std::string gain_cell(double gain_db) {
  const std::string text = fixed(gain_db, 1);
  return padded_left(text.starts_with('-') || text == "0.0" ? text : "+" + text, kValueWidth);
}

/// What stands behind the figures of an improvement.
std::string price_words(const Improvement& improvement) {
  std::string out = improvement.price;
  for (const std::string& rule : improvement.breaks)
    out += (out.empty() ? "breaks " : "; breaks ") + rule;
  return out;
}

void print_improvements(Page& page, const std::vector<Improvement>& improvements) {
  if (improvements.empty()) return;
  std::size_t width = kLabelWidth;
  for (const Improvement& one : improvements) width = std::max(width, one.what.size());
  page.line("");
  page.line("  " + padded_right("Which decibel is cheapest", width) +
            padded_left("inbound", kValueWidth) + padded_left("outbound", kValueWidth));
  for (const Improvement& one : improvements) {
    const std::string price = price_words(one);
    page.line("  " + padded_right(one.what, width) + gain_cell(one.gains_db[0]) +
              gain_cell(one.gains_db[1]) + " dB" + (price.empty() ? "" : "   " + price));
  }
}

void print_plan(std::string& out, const Plan& plan) {
  const LinkBudget& budget = plan.budget;
  Page page(out);
  page.line("Link " + printable(budget.link) +
            (budget.distance_km ? ", " + fixed(*budget.distance_km, 2) + " km" : ""));
  page.one("free space", budget.free_space_db, 2, "dB");
  page.one("gas of the air", budget.gas_db, 2, "dB");
  page.one("diffraction", budget.diffraction_db, 2, "dB", diffraction_note(budget));
  const bool wooded = budget.foliage_db.value.value_or(0) > 0;
  page.one(
      "foliage", budget.foliage_db, 2, "dB",
      wooded ? "in leaf; leafless " + fixed(*budget.foliage_leafless_db.value, 2) + " dB" : "");
  page.one("Fresnel clearance", budget.fresnel_clearance_ratio, 2, "of the first zone",
           budget.fresnel_at_km ? "smallest at " + fixed(*budget.fresnel_at_km, 2) + " km" : "");
  if (budget.fresnel_clearance_ratio_worst_month.value)
    page.one("  in the worst month", budget.fresnel_clearance_ratio_worst_month, 2,
             "of the first zone");
  page.one("bit rate", budget.bit_rate_bps, 0, "bit/s", air_time_note(budget));
  page.line("");
  print_directions(page, budget);
  print_availability(page, budget);
  print_improvements(page, plan.improvements);
  page.line("");
  page.one("exposure distance, near", budget.near_exposure_m, 2, "m");
  page.one("exposure distance, far", budget.far_exposure_m, 2, "m");
  if (budget.near_exposure_m.value || budget.far_exposure_m.value)
    page.line("  limit of exposure: " + std::string(name_of(ExposureLimit::stricter)));
  std::vector<std::string> cautions;
  for (const Caution& caution : budget.cautions) cautions.push_back(described(caution));
  print_list(page, "Cautions", cautions);
  print_list(page, "Taken for granted", budget.assumptions);
  page.line("");
}

}  // namespace

std::string air_time_note(const LinkBudget& budget) {
  const double time_s = budget.time_on_air_s.value.value_or(0);
  return "a frame of " + std::to_string(kTypicalPayloadBytes) + " bytes takes " +
         rounded_text(time_s, time_s < 0.01 ? 4 : 3) + " s";
}

std::string diffraction_note(const LinkBudget& budget) {
  std::string note = "delta-Bullington, median conditions";
  if (budget.knife_edge_db.value.value_or(0) > 0)
    note +=
        "; its worst point as a knife edge " + rounded_text(*budget.knife_edge_db.value, 1) + " dB";
  return note;
}

std::span<const std::string_view> standing_cautions() { return kStanding; }

Plan plan_of(const LinkSettings& link, const Profile* profile) {
  Plan plan{compute(link, profile), link.budget, improvements(link, profile), {}};
  if (profile && plan.budget.diffraction_db.value)
    plan.view = PathView{*profile, *link.budget.near.height_m, *link.budget.far.height_m,
                         *link.budget.frequency_mhz * 1e6};
  return plan;
}

std::string to_json(std::span<const Plan> plans) {
  std::string out = "[";
  for (std::size_t i = 0; i < plans.size(); ++i) {
    out += i == 0 ? "\n" : ",\n";
    append_plan(out, plans[i]);
  }
  out += plans.empty() ? "]\n" : "\n]\n";
  return out;
}

std::string to_text(std::span<const Plan> plans) {
  std::string out;
  for (const Plan& plan : plans) print_plan(out, plan);
  out += "Always\n";
  for (std::string_view text : kStanding) out += "  - " + std::string(text) + "\n";
  return out;
}

}  // namespace fadeward::budget
