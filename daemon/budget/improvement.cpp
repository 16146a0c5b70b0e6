#include "fadeward/budget/improvement.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <utility>

#include "fadeward/base/text.hpp"
#include "fadeward/budget/link_budget.hpp"
#include "fadeward/budget/rules.hpp"
#include "fadeward/budget/time_on_air.hpp"

namespace fadeward::budget {
namespace {

constexpr double kWorthwhileFeederDb = 0.2;
constexpr int kSlowestFactor = 12;
constexpr double kSameDb = 1e-6;
constexpr double kUnevenDb = 0.5;  // of the margins: then one end's power is a choice of its own
constexpr double kNoLimitDbm = 1000;

std::string seconds(double value) { return rounded_text(value, value < 1 ? 3 : 2) + " s"; }

std::optional<double> frame_time_s(int spreading_factor, double bandwidth_hz) {
  CssFrame frame;
  frame.spreading_factor = spreading_factor;
  frame.bandwidth_hz = bandwidth_hz;
  frame.payload_bytes = kTypicalPayloadBytes;
  return css_time_on_air_s(frame);
}

class Search {
 public:
  Search(const LinkSettings& link, const Profile* profile)
      : link_(link), profile_(profile), base_(compute(link, profile)), kept_(check_rules(link)) {}

  std::vector<Improvement> run() {
    for (const DirectionBudget& direction : base_.directions)
      if (!direction.margin_db.value || direction.signal_given) return {};
    site(link_.budget.near, &BudgetSettings::near, "near");
    site(link_.budget.far, &BudgetSettings::far, "far");
    power();
    polarisation();
    trees();
    rate();
    std::ranges::stable_sort(found_, std::ranges::greater{}, &Improvement::weaker_gain_db);
    return std::move(found_);
  }

 private:
  using Site = SiteSettings BudgetSettings::*;

  void site(const SiteSettings& site, Site which, const std::string& end);
  void gain(const SiteSettings& site, Site which, double gain_db, std::string what,
            double SiteSettings::*term, double value);
  std::optional<double> more_power(const SiteSettings& site) const;
  void power();
  void polarisation();
  void trees();
  void rate();
  void slower(const LinkSettings& changed, const SlowestRate& rate, std::string what,
              std::string price);
  std::string frame_price(int spreading_factor, double bandwidth_hz) const;

  std::vector<std::string> newly_broken(const LinkSettings& changed) const;
  Improvement compared(const LinkSettings& changed, std::string what) const;
  void settle(Improvement&& improvement);

  const LinkSettings& link_;
  const Profile* profile_;
  LinkBudget base_;
  std::vector<Caution> kept_;
  std::vector<Improvement> found_;
};

/// Rules broken by the changed plan and not already broken as far without the change.
std::vector<std::string> Search::newly_broken(const LinkSettings& changed) const {
  std::vector<std::string> out;
  for (const Caution& caution : check_rules(changed)) {
    const bool known = std::ranges::any_of(kept_, [&](const Caution& one) {
      return one.rule == caution.rule && one.value == caution.value;
    });
    const bool listed = std::ranges::find(out, caution.rule) != out.end();
    if (caution.value && !known && !listed) out.push_back(caution.rule);
  }
  return out;
}

Improvement Search::compared(const LinkSettings& changed, std::string what) const {
  Improvement out;
  out.what = std::move(what);
  const LinkBudget budget = compute(changed, profile_);
  for (std::size_t d = 0; d < kDirections; ++d)
    out.gains_db[d] =
        budget.directions[d].margin_db.value.value_or(0) - *base_.directions[d].margin_db.value;
  out.breaks = newly_broken(changed);
  return out;
}

void Search::settle(Improvement&& improvement) {
  const auto weaker = [&](double inbound_gain_db, double outbound_gain_db) {
    return std::min(*base_.directions[0].margin_db.value + inbound_gain_db,
                    *base_.directions[1].margin_db.value + outbound_gain_db);
  };
  improvement.weaker_gain_db =
      weaker(improvement.gains_db[0], improvement.gains_db[1]) - weaker(0, 0);
  found_.push_back(std::move(improvement));
}

/// A change of antenna or feeder, with less power where the rules want that.
void Search::gain(const SiteSettings& site, Site which, double gain_db, std::string what,
                  double SiteSettings::*term, double value) {
  LinkSettings changed = link_;
  changed.budget.*which.*term = value;
  if (site.power_dbm && !newly_broken(changed).empty()) {
    *(changed.budget.*which).power_dbm -= gain_db;
    what += ", " + rounded_text(gain_db) + " dB less power";
  }
  settle(compared(changed, std::move(what)));
}

void Search::site(const SiteSettings& site, Site which, const std::string& end) {
  if (profile_ && site.height_m) {
    LinkSettings changed = link_;
    const double height_m = *site.height_m + kHeightStepM;
    (changed.budget.*which).height_m = height_m;
    settle(compared(changed, end + " antenna " + rounded_text(kHeightStepM) + " m higher (" +
                                 rounded_text(height_m) + " m)"));
  }
  const double antenna_dbi = site.antenna_dbi + kGainStepDb;
  gain(site, which, kGainStepDb,
       end + " antenna of " + rounded_text(antenna_dbi) + " instead of " +
           rounded_text(site.antenna_dbi) + " dBi",
       &SiteSettings::antenna_dbi, antenna_dbi);
  if (site.feeder_db >= kWorthwhileFeederDb) {
    const double left_db = site.feeder_db / 2;
    gain(site, which, left_db,
         end + " feeder of " + rounded_text(left_db) + " instead of " +
             rounded_text(site.feeder_db) + " dB",
         &SiteSettings::feeder_db, left_db);
  }
}

/// The power of an end a step higher, or as high as its radio goes; empty where it is there.
std::optional<double> Search::more_power(const SiteSettings& site) const {
  if (!site.power_dbm) return std::nullopt;
  const double power_dbm =
      std::min(*site.power_dbm + kGainStepDb, link_.radio.max_power_dbm.value_or(kNoLimitDbm));
  return power_dbm > *site.power_dbm + kSameDb ? std::optional(power_dbm) : std::nullopt;
}

/// At both ends together; at one end alone where one direction is the weaker one.
void Search::power() {
  const SiteSettings& near = link_.budget.near;
  const SiteSettings& far = link_.budget.far;
  const auto near_dbm = more_power(near);
  const auto far_dbm = more_power(far);
  const double lead_db =
      std::abs(*base_.directions[0].margin_db.value - *base_.directions[1].margin_db.value);
  const auto raise = [&](std::optional<double> near_to_dbm, std::optional<double> far_to_dbm,
                         std::string what) {
    LinkSettings changed = link_;
    if (near_to_dbm) changed.budget.near.power_dbm = near_to_dbm;
    if (far_to_dbm) changed.budget.far.power_dbm = far_to_dbm;
    settle(compared(changed, std::move(what)));
  };
  const auto words = [](const std::string& end, double to_dbm, double from_dbm) {
    return end + " power of " + rounded_text(to_dbm) + " instead of " + rounded_text(from_dbm) +
           " dBm";
  };
  if (near_dbm && far_dbm)
    raise(near_dbm, far_dbm,
          near.power_dbm == far.power_dbm
              ? words("near and far", *near_dbm, *near.power_dbm)
              : words("near", *near_dbm, *near.power_dbm) + ", far " + rounded_text(*far_dbm) +
                    " instead of " + rounded_text(*far.power_dbm));
  const bool uneven = lead_db >= kUnevenDb || !near_dbm || !far_dbm;
  if (near_dbm && uneven) raise(near_dbm, {}, words("near", *near_dbm, *near.power_dbm));
  if (far_dbm && uneven) raise({}, far_dbm, words("far", *far_dbm, *far.power_dbm));
}

void Search::polarisation() {
  LinkSettings changed = link_;
  const double lost_db = link_.budget.near.polarisation_db + link_.budget.far.polarisation_db;
  if (lost_db <= 0) return;
  changed.budget.near.polarisation_db = changed.budget.far.polarisation_db = 0;
  settle(compared(changed, "antennas in the same polarisation"));
}

void Search::trees() {
  if (link_.budget.foliage_m <= 0) return;
  LinkSettings changed = link_;
  changed.budget.foliage_m = 0;
  Improvement cleared =
      compared(changed, "the path's " + rounded_text(link_.budget.foliage_m) + " m of wood cut");
  cleared.price = "it grows back";
  settle(std::move(cleared));
}

/// Gains by the way of a receiver: what the weakest level that is still received falls by.
void Search::slower(const LinkSettings& changed, const SlowestRate& rate, std::string what,
                    std::string price) {
  RadioSettings radio = link_.radio;
  radio.slowest = rate;
  Improvement out;
  out.what = std::move(what);
  out.gains_db.fill(slowest_rate_gain_db(radio, {}));
  out.price = std::move(price);
  out.breaks = newly_broken(changed);
  settle(std::move(out));
}

std::string Search::frame_price(int spreading_factor, double bandwidth_hz) const {
  const auto now_s = frame_time_s(*link_.radio.spreading_factor, *link_.radio.bandwidth_hz);
  const auto then_s = frame_time_s(spreading_factor, bandwidth_hz);
  if (!now_s || !then_s) return "half the bit rate";
  return "a frame of " + std::to_string(kTypicalPayloadBytes) + " bytes takes " + seconds(*then_s) +
         " instead of " + seconds(*now_s);
}

void Search::rate() {
  const RadioSettings& radio = link_.radio;
  if (radio.modulation == RadioSettings::Modulation::css && radio.spreading_factor &&
      radio.bandwidth_hz) {
    const int factor = *radio.spreading_factor;
    if (factor < kSlowestFactor) {
      LinkSettings changed = link_;
      changed.radio.spreading_factor = factor + 1;
      slower(changed, {factor + 1, {}, {}},
             "spreading factor " + std::to_string(factor + 1) + " instead of " +
                 std::to_string(factor),
             frame_price(factor + 1, *radio.bandwidth_hz));
    }
    const double half_hz = *radio.bandwidth_hz / 2;
    LinkSettings changed = link_;
    changed.radio.bandwidth_hz = half_hz;
    slower(changed, {{}, half_hz, {}},
           "bandwidth of " + rounded_text(half_hz / 1000) + " instead of " +
               rounded_text(*radio.bandwidth_hz / 1000) + " kHz",
           frame_price(factor, half_hz));
  } else if (radio.bit_rate_bps && *radio.bit_rate_bps > 0) {
    const double half_bps = *radio.bit_rate_bps / 2;
    LinkSettings changed = link_;
    changed.radio.bit_rate_bps = half_bps;
    slower(changed, {{}, {}, half_bps},
           rounded_text(half_bps) + " instead of " + rounded_text(*radio.bit_rate_bps) + " bit/s",
           "frames take twice as long");
  }
}

}  // namespace

std::vector<Improvement> improvements(const LinkSettings& link, const Profile* profile) {
  return Search(link, profile).run();
}

}  // namespace fadeward::budget
