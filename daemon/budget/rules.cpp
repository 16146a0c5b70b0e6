#include "fadeward/budget/rules.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "fadeward/base/decibel.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/budget/time_on_air.hpp"

namespace fadeward::budget {
namespace {

constexpr std::string_view kUsHopping = "us-15.247-hopping";
constexpr std::string_view kUsDigital = "us-15.247-digital";
constexpr std::string_view kUsHybrid = "us-15.247-hybrid";
constexpr std::string_view kEurope = "eu-863-870";
constexpr std::string_view kAustralia = "au-915-928";
constexpr std::string_view kCustom = "custom";
constexpr std::array kSets{kUsHopping, kUsDigital, kUsHybrid, kEurope, kAustralia, kCustom};

constexpr double kDipoleDbi = 2.15;
constexpr double kUsWideHopHz = 250e3;
constexpr double kRoundedDb = 0.03;  // 25 mW are 13.98 dBm and written as 14 by everybody
constexpr double kTolerance = 1e-9;  // a plan that sits exactly on a limit keeps it

double dbm_of_mw(double milliwatt) { return db_from_ratio(milliwatt); }

// ---- limits --------------------------------------------------------------------------------

void set_us_band(RuleLimits& limits) {
  limits.band_low_mhz = {902, "47 CFR 15.247(a)"};
  limits.band_high_mhz = {928, "47 CFR 15.247(a)"};
  limits.antenna_dbi = {6, "47 CFR 15.247(b)(4)"};
}

RuleLimits us_hopping(const LinkSettings& link) {
  RuleLimits limits;
  set_us_band(limits);
  const std::string hopping = "47 CFR 15.247(a)(1)(i)";
  const bool wide = link.radio.bandwidth_hz.value_or(0) >= kUsWideHopHz;
  const bool many = link.rules.channels.value_or(50) >= 50;
  limits.channels_min = {wide ? 25.0 : 50.0, hopping};
  limits.dwell_s = {0.4, hopping};
  limits.dwell_period_s = {wide ? 10.0 : 20.0, hopping};
  limits.bandwidth_max_hz = {500e3, hopping};
  limits.conducted_dbm = {many ? 30 : dbm_of_mw(250), "47 CFR 15.247(b)(2)"};
  return limits;
}

RuleLimits us_digital() {
  RuleLimits limits;
  set_us_band(limits);
  limits.bandwidth_min_hz = {500e3, "47 CFR 15.247(a)(2)"};
  limits.conducted_dbm = {30, "47 CFR 15.247(b)(3)"};
  limits.density_dbm_per_3khz = {8, "47 CFR 15.247(e)"};
  return limits;
}

RuleLimits us_hybrid(const LinkSettings& link) {
  RuleLimits limits;
  set_us_band(limits);
  limits.dwell_s = {0.4, "47 CFR 15.247(f)"};
  if (link.rules.channels) limits.dwell_period_s = {0.4 * *link.rules.channels, "47 CFR 15.247(f)"};
  limits.conducted_dbm = {30, "47 CFR 15.247(b)"};
  limits.density_dbm_per_3khz = {8, "47 CFR 15.247(f)"};
  return limits;
}

/// Sub-bands of ETSI EN 300 220-2 and ERC Recommendation 70-03 (annexes 1 and 7), MHz, mW e.r.p.
struct SubBand {
  double low_mhz;
  double high_mhz;
  double erp_mw;
  double duty;
};
constexpr std::array<SubBand, 11> kSubBands{{{863.0, 865.0, 25, 0.001},
                                             {865.0, 868.0, 25, 0.01},
                                             {868.0, 868.6, 25, 0.01},
                                             {868.6, 868.7, 10, 0.01},
                                             {868.7, 869.2, 25, 0.001},
                                             {869.2, 869.25, 10, 0.001},
                                             {869.25, 869.3, 10, 0.001},
                                             {869.3, 869.4, 10, 0.01},
                                             {869.4, 869.65, 500, 0.1},
                                             {869.65, 869.7, 25, 0.1},
                                             {869.7, 870.0, 25, 0.01}}};

/// 869.7 to 870 MHz: up to 5 mW e.r.p. the duty is free.
bool within_free_duty(const SiteSettings& site) {
  return site.power_dbm && *site.power_dbm - site.feeder_db + site.antenna_dbi - kDipoleDbi <=
                               dbm_of_mw(5) + kTolerance;
}

RuleLimits europe(const LinkSettings& link) {
  RuleLimits limits;
  const std::string source = "ETSI EN 300 220-2, ERC/REC 70-03";
  limits.band_low_mhz = {863, source};
  limits.band_high_mhz = {870, source};
  if (!link.budget.frequency_mhz) return limits;
  const double mhz = *link.budget.frequency_mhz;
  for (const SubBand& band : kSubBands) {
    if (mhz < band.low_mhz || mhz >= band.high_mhz) continue;
    const std::string rule =
        source + ", " + rounded_text(band.low_mhz) + "-" + rounded_text(band.high_mhz) + " MHz";
    limits.band_low_mhz = {band.low_mhz, rule};
    limits.band_high_mhz = {band.high_mhz, rule};
    limits.erp_dbm = {dbm_of_mw(band.erp_mw), rule};
    const bool free_duty = band.low_mhz == 869.7 && within_free_duty(link.budget.near) &&
                           within_free_duty(link.budget.far);
    if (!free_duty) limits.duty_ratio = {band.duty, rule};
  }
  return limits;
}

RuleLimits australia(const LinkSettings& link) {
  RuleLimits limits;
  const std::string rule =
      "Australian class licence for low interference potential devices, item 52";
  limits.band_low_mhz = {915, rule};
  limits.band_high_mhz = {928, rule};
  limits.eirp_dbm = {30, rule};
  const bool digital = !link.rules.channels && link.radio.bandwidth_hz.value_or(0) >= 500e3;
  if (!digital) limits.channels_min = {20, rule};
  return limits;
}

RuleLimits custom(const LinkSettings& link) {
  RuleLimits limits;
  const std::string rule = "rules of the configuration";
  if (link.rules.channels) limits.channels_min = {double(*link.rules.channels), rule};
  if (link.rules.dwell_s) limits.dwell_s = {*link.rules.dwell_s, rule};
  if (link.rules.duty_ratio) limits.duty_ratio = {*link.rules.duty_ratio, rule};
  return limits;
}

// ---- checks --------------------------------------------------------------------------------

class Checker {
 public:
  explicit Checker(const LinkSettings& link)
      : link_(link), limits_(limits_of(link)), is_custom_(link.rules.set == kCustom) {}

  std::vector<Caution> run() {
    band();
    bandwidth();
    power(link_.budget.near, "near");
    power(link_.budget.far, "far");
    channels();
    dwell();
    duty();
    return std::move(cautions_);
  }

 private:
  void add(const RuleLimit& limit, std::optional<double> value, std::string text) {
    cautions_.push_back({limit.rule, limit.value, value, std::move(text)});
  }
  void ceiling(const std::optional<RuleLimit>& limit, double value, const std::string& what,
               const std::string& unit) {
    if (limit && value > limit->value + kRoundedDb)
      add(*limit, value,
          what + " of " + rounded_text(value) + " " + unit + " exceeds the limit of " +
              rounded_text(limit->value) + " " + unit);
  }

  void band();
  void bandwidth();
  void power(const SiteSettings& site, const std::string& end);
  void channels();
  void dwell();
  void duty();
  std::optional<double> typical_air_time_s() const;

  const LinkSettings& link_;
  RuleLimits limits_;
  bool is_custom_;
  std::vector<Caution> cautions_;
};

void Checker::band() {
  if (!limits_.band_low_mhz) return;
  const RuleLimit& low = *limits_.band_low_mhz;
  const RuleLimit& high = *limits_.band_high_mhz;
  const std::string range = rounded_text(low.value) + " to " + rounded_text(high.value) + " MHz";
  if (!link_.budget.frequency_mhz)
    return add(low, {}, "frequency_mhz is not stated; the rule is for " + range);
  const double mhz = *link_.budget.frequency_mhz;
  const double half_mhz = link_.radio.bandwidth_hz.value_or(0) / 2e6;
  if (mhz - half_mhz < low.value - kTolerance)
    add(low, mhz, rounded_text(mhz, 3) + " MHz and its bandwidth reach out of " + range);
  else if (mhz + half_mhz > high.value + kTolerance)
    add(high, mhz, rounded_text(mhz, 3) + " MHz and its bandwidth reach out of " + range);
}

void Checker::bandwidth() {
  const auto width = link_.radio.bandwidth_hz;
  if (limits_.bandwidth_min_hz && !width)
    add(*limits_.bandwidth_min_hz, {},
        "bandwidth_hz is not stated; at least " + rounded_text(limits_.bandwidth_min_hz->value) +
            " Hz are asked");
  if (limits_.bandwidth_min_hz && width && *width < limits_.bandwidth_min_hz->value)
    add(*limits_.bandwidth_min_hz, *width,
        "bandwidth of " + rounded_text(*width) + " Hz is below the " +
            rounded_text(limits_.bandwidth_min_hz->value) + " Hz asked");
  if (limits_.bandwidth_max_hz && width && *width > limits_.bandwidth_max_hz->value)
    add(*limits_.bandwidth_max_hz, *width,
        "bandwidth of " + rounded_text(*width) + " Hz exceeds the " +
            rounded_text(limits_.bandwidth_max_hz->value) + " Hz allowed");
}

void Checker::power(const SiteSettings& site, const std::string& end) {
  const auto& any = limits_.conducted_dbm ? limits_.conducted_dbm
                    : limits_.erp_dbm     ? limits_.erp_dbm
                                          : limits_.eirp_dbm;
  if (!any) return;
  if (!site.power_dbm) return add(*any, {}, end + ".power_dbm is not stated");
  const double power_dbm = *site.power_dbm;
  const double at_antenna_dbm = power_dbm - site.feeder_db;
  const double eirp_dbm = at_antenna_dbm + site.antenna_dbi;
  ceiling(limits_.conducted_dbm, power_dbm, end + " end: conducted power", "dBm");
  ceiling(limits_.eirp_dbm, eirp_dbm, end + " end: radiated power (e.i.r.p.)", "dBm");
  ceiling(limits_.erp_dbm, eirp_dbm - kDipoleDbi, end + " end: radiated power (e.r.p.)", "dBm");
  if (limits_.conducted_dbm && limits_.antenna_dbi) {
    const double excess_db = std::max(0.0, site.antenna_dbi - limits_.antenna_dbi->value);
    const double allowed_dbm = limits_.conducted_dbm->value - excess_db;
    if (excess_db > 0 && at_antenna_dbm > allowed_dbm + kRoundedDb)
      add({allowed_dbm, limits_.antenna_dbi->rule}, at_antenna_dbm,
          end + " end: " + rounded_text(at_antenna_dbm) + " dBm at the antenna; its " +
              rounded_text(site.antenna_dbi) + " dBi are " + rounded_text(excess_db) +
              " dB above 6 dBi and leave " + rounded_text(allowed_dbm) + " dBm");
  }
  if (limits_.density_dbm_per_3khz && link_.radio.bandwidth_hz && *link_.radio.bandwidth_hz > 0)
    ceiling(limits_.density_dbm_per_3khz,
            power_dbm + std::min(0.0, db_from_ratio(3000 / *link_.radio.bandwidth_hz)),
            end + " end: density of a flat spectrum", "dBm in 3 kHz");
}

void Checker::channels() {
  if (!limits_.channels_min || is_custom_) return;
  const std::string asked = "at least " + rounded_text(limits_.channels_min->value) + " are asked";
  if (!link_.rules.channels)
    add(*limits_.channels_min, {}, "rules.channels is not stated; " + asked);
  else if (*link_.rules.channels < limits_.channels_min->value)
    add(*limits_.channels_min, *link_.rules.channels,
        std::to_string(*link_.rules.channels) + " hop channels; " + asked);
}

std::optional<double> Checker::typical_air_time_s() const {
  if (link_.radio.modulation != RadioSettings::Modulation::css || !link_.radio.spreading_factor ||
      !link_.radio.bandwidth_hz)
    return std::nullopt;
  CssFrame frame;
  frame.spreading_factor = *link_.radio.spreading_factor;
  frame.bandwidth_hz = *link_.radio.bandwidth_hz;
  frame.payload_bytes = kTypicalPayloadBytes;
  return css_time_on_air_s(frame);
}

void Checker::dwell() {
  if (!limits_.dwell_s) return;
  const std::string period =
      limits_.dwell_period_s ? " in " + rounded_text(limits_.dwell_period_s->value) + " s" : "";
  const std::string asked = "at most " + rounded_text(limits_.dwell_s->value) + " s" + period;
  if (!is_custom_) {
    if (!link_.rules.dwell_s)
      add(*limits_.dwell_s, {}, "rules.dwell_s is not stated; " + asked + " on one channel");
    else if (*link_.rules.dwell_s > limits_.dwell_s->value + kTolerance)
      add(*limits_.dwell_s, *link_.rules.dwell_s,
          "dwell of " + rounded_text(*link_.rules.dwell_s, 3) + " s on one channel; " + asked);
  }
  if (const auto air_s = typical_air_time_s(); air_s && *air_s > limits_.dwell_s->value)
    add(*limits_.dwell_s, *air_s,
        "one frame of " + std::to_string(kTypicalPayloadBytes) + " bytes takes " +
            rounded_text(*air_s, 3) + " s at this spreading factor; " + asked + " on one channel");
}

void Checker::duty() {
  if (!limits_.duty_ratio || is_custom_) return;
  const std::string asked =
      "at most " + rounded_text(limits_.duty_ratio->value * 100) + " % of any hour";
  if (!link_.rules.duty_ratio)
    add(*limits_.duty_ratio, {}, "rules.duty_ratio is not stated; " + asked);
  else if (*link_.rules.duty_ratio > limits_.duty_ratio->value + kTolerance)
    add(*limits_.duty_ratio, *link_.rules.duty_ratio,
        "duty of " + rounded_text(*link_.rules.duty_ratio * 100) + " %; " + asked);
}

}  // namespace

std::span<const std::string_view> rule_sets() { return kSets; }

RuleLimits limits_of(const LinkSettings& link) {
  const std::string& set = link.rules.set;
  if (set == kUsHopping) return us_hopping(link);
  if (set == kUsDigital) return us_digital();
  if (set == kUsHybrid) return us_hybrid(link);
  if (set == kEurope) return europe(link);
  if (set == kAustralia) return australia(link);
  if (set == kCustom) return custom(link);
  return {};
}

std::vector<Caution> check_rules(const LinkSettings& link) { return Checker(link).run(); }

}  // namespace fadeward::budget
