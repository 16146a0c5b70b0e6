#include "fadeward/budget/link_budget.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/text.hpp"
#include "fadeward/budget/atmosphere.hpp"
#include "fadeward/budget/availability.hpp"
#include "fadeward/budget/diffraction.hpp"
#include "fadeward/budget/exposure.hpp"
#include "fadeward/budget/foliage.hpp"
#include "fadeward/budget/free_space.hpp"
#include "fadeward/budget/fresnel.hpp"
#include "fadeward/budget/rules.hpp"
#include "fadeward/budget/time_on_air.hpp"

namespace fadeward::budget {
namespace {

constexpr double kHeavyRainMmPerH = 50;
constexpr double kClearPathKDb = 6;  // common practice for fixed links in the open
constexpr double kShadowingDb = 8;   // common practice
constexpr std::string_view kP530Method = "ITU-R P.530, average worst month";

Figure known(double value) { return {value, {}}; }
Figure unknown(std::string reason) { return {{}, std::move(reason)}; }

bool usable(std::optional<double> value) { return value && std::isfinite(*value) && *value > 0; }

class Computation {
 public:
  Computation(const LinkSettings& link, const Profile* profile)
      : link_(link), budget_(link.budget), profile_(profile) {}

  LinkBudget run();

 private:
  void settle_path();
  void free_space();
  void gas();
  void foliage();
  void terrain();
  void diffraction(double near_height_m, double far_height_m);
  void clearance(double near_height_m, double far_height_m);
  void air_time();
  void exposure();
  void direction(Direction which);
  Figure path_signal(const SiteSettings& receiver_site, const Figure& eirp_dbm) const;
  void availability(DirectionBudget& direction) const;
  Availability by_p530(double margin_db) const;
  Availability by_barnett_vigants(double margin_db) const;
  Availability by_rice(double margin_db) const;
  void cautions();
  void caution_target(Direction which);
  void caution_clutter(const std::string& end, const SiteSettings& site, const ProfilePoint& point);
  void assumptions();
  std::string rain() const;

  const LinkSettings& link_;
  const BudgetSettings& budget_;
  const Profile* profile_;
  double frequency_hz_ = 0;  ///< 0: not said
  double distance_km_ = 0;   ///< 0: not said
  LinkBudget out_;
};

void Computation::settle_path() {
  if (profile_ && profile_->points.size() < 3) profile_ = nullptr;
  if (usable(budget_.frequency_mhz)) frequency_hz_ = *budget_.frequency_mhz * 1e6;
  if (usable(budget_.distance_km))
    distance_km_ = *budget_.distance_km;
  else if (profile_)
    distance_km_ = profile_->length_km();
  if (distance_km_ > 0) out_.distance_km = distance_km_;
}

void Computation::free_space() {
  if (frequency_hz_ <= 0)
    out_.free_space_db = unknown("budget.frequency_mhz is not set");
  else if (distance_km_ <= 0)
    out_.free_space_db = unknown("budget.distance_km is not set");
  else
    out_.free_space_db = known(free_space_loss_db(frequency_hz_, distance_km_ * 1e3));
}

void Computation::gas() {
  if (!out_.free_space_db.value) {
    out_.gas_db = unknown(out_.free_space_db.reason);
    return;
  }
  // One value for all bands below 1 GHz: what-if variants ask for it by the thousand.
  static const std::optional<GasLoss> at_1_ghz = gas_loss(1e9);
  const auto loss = frequency_hz_ <= 1e9 ? at_1_ghz : gas_loss(frequency_hz_);
  out_.gas_db = loss ? known(loss->total_db_per_km() * distance_km_)
                     : unknown("ITU-R P.676 reaches up to 1000 GHz only");
}

void Computation::foliage() {
  const auto refuse = [&](const std::string& reason) {
    out_.foliage_db = out_.foliage_leafless_db = unknown(reason);
  };
  if (budget_.foliage_m <= 0) {
    out_.foliage_db = out_.foliage_leafless_db = known(0);
  } else if (frequency_hz_ <= 0) {
    refuse("budget.frequency_mhz is not set");
  } else if (const auto wood = woodland_at(frequency_hz_)) {
    out_.foliage_db = known(woodland_loss_db(*wood, budget_.foliage_m));
    out_.foliage_leafless_db = known(woodland_loss_db(*wood, budget_.foliage_m, false));
  } else {
    refuse(
        "ITU-R P.833 Table 1 reaches from 105.9 to 2117.5 MHz only; state the loss as "
        "budget.extra_loss_db");
  }
}

void Computation::terrain() {
  const auto refuse = [&](const std::string& reason) {
    out_.diffraction_db = out_.knife_edge_db = out_.fresnel_clearance_ratio =
        out_.fresnel_clearance_ratio_worst_month = unknown(reason);
  };
  if (!profile_) {
    refuse(budget_.profile.empty() ? "no terrain profile is set"
                                   : "the terrain profile was not read");
  } else if (frequency_hz_ <= 0) {
    refuse("budget.frequency_mhz is not set");
  } else if (!budget_.near.height_m || !budget_.far.height_m) {
    refuse("budget." + std::string(budget_.near.height_m ? "far" : "near") +
           ".height_m is not set");
  } else if (*budget_.near.height_m < 0 || *budget_.far.height_m < 0) {
    refuse("the antenna of the " + std::string(*budget_.near.height_m < 0 ? "near" : "far") +
           " end is below the ground of the profile");
  } else {
    diffraction(*budget_.near.height_m, *budget_.far.height_m);
    clearance(*budget_.near.height_m, *budget_.far.height_m);
  }
}

void Computation::diffraction(double near_height_m, double far_height_m) {
  const double loss_db =
      delta_bullington(*profile_, near_height_m, far_height_m, frequency_hz_).loss_db();
  out_.diffraction_db =
      std::isfinite(loss_db) ? known(loss_db) : unknown("the diffraction loss is not finite");
}

void Computation::clearance(double near_height_m, double far_height_m) {
  const auto smallest = [&](double effective_radius_m) {
    return smallest_clearance(*profile_, near_height_m, far_height_m, frequency_hz_,
                              effective_radius_m);
  };
  const Clearance median = smallest(kMedianEffectiveRadiusM);
  const double near_m = median.at_km * 1e3;
  const double far_m = (profile_->length_km() - median.at_km) * 1e3;
  out_.knife_edge_db = known(
      knife_edge_loss_db(knife_edge_parameter(-median.clearance_m, near_m, far_m, frequency_hz_)));
  const double worst_radius_m = kEarthRadiusM * k_factor_worst_month(profile_->length_km());
  out_.fresnel_clearance_ratio = known(median.ratio);
  out_.fresnel_at_km = median.at_km;
  out_.fresnel_clearance_ratio_worst_month = known(smallest(worst_radius_m).ratio);
}

/// Chirps where the settings name a spreading factor, plain frequency shift elsewhere.
void Computation::air_time() {
  const RadioSettings& radio = link_.radio;
  using M = RadioSettings::Modulation;
  const auto figure = [](std::optional<double> value, const char* reason) {
    return value ? known(*value) : unknown(reason);
  };
  if (radio.modulation == M::css ||
      (radio.modulation == M::unspecified && radio.spreading_factor)) {
    constexpr const char* kReason = "radio.spreading_factor and bandwidth_hz are not set";
    CssFrame frame;
    frame.spreading_factor = radio.spreading_factor.value_or(0);
    frame.bandwidth_hz = radio.bandwidth_hz.value_or(0);
    frame.payload_bytes = kTypicalPayloadBytes;
    out_.bit_rate_bps = figure(css_bit_rate_bps(frame), kReason);
    out_.time_on_air_s = figure(css_time_on_air_s(frame), kReason);
  } else {
    constexpr const char* kReason = "radio.bit_rate_bps is not set";
    out_.bit_rate_bps = usable(radio.bit_rate_bps) ? known(*radio.bit_rate_bps) : unknown(kReason);
    out_.time_on_air_s =
        figure(fsk_time_on_air_s(radio.bit_rate_bps.value_or(0), kTypicalPayloadBytes), kReason);
  }
}

void Computation::exposure() {
  const auto distance = [&](const Figure& eirp_dbm) {
    if (!eirp_dbm.value) return eirp_dbm;
    if (frequency_hz_ <= 0) return unknown("budget.frequency_mhz is not set");
    const auto metres = exposure_distance_m(*eirp_dbm.value, frequency_hz_);
    return metres ? known(*metres) : unknown("the limits used reach from 30 MHz to 100 GHz");
  };
  out_.far_exposure_m = distance(out_.direction(Direction::inbound).eirp_dbm);
  out_.near_exposure_m = distance(out_.direction(Direction::outbound).eirp_dbm);
}

Figure Computation::path_signal(const SiteSettings& receiver_site, const Figure& eirp_dbm) const {
  if (!eirp_dbm.value) return eirp_dbm;
  if (!out_.free_space_db.value) return out_.free_space_db;
  if (!out_.gas_db.value) return out_.gas_db;
  if (!out_.foliage_db.value) return unknown("foliage: " + out_.foliage_db.reason);
  const bool terrain_wanted = profile_ || !budget_.profile.empty();
  if (terrain_wanted && !out_.diffraction_db.value)
    return unknown("diffraction: " + out_.diffraction_db.reason);
  const double polarisation_db = budget_.near.polarisation_db + budget_.far.polarisation_db;
  return known(*eirp_dbm.value - *out_.free_space_db.value - *out_.gas_db.value -
               *out_.foliage_db.value - out_.diffraction_db.value.value_or(0) -
               budget_.extra_loss_db - polarisation_db + receiver_site.antenna_dbi -
               receiver_site.feeder_db);
}

void Computation::direction(Direction which) {
  const bool inbound = which == Direction::inbound;
  const SiteSettings& sender = inbound ? budget_.far : budget_.near;
  const SiteSettings& receiver_site = inbound ? budget_.near : budget_.far;
  const auto given = inbound ? budget_.inbound_signal_dbm : budget_.outbound_signal_dbm;

  DirectionBudget& direction = out_.directions[static_cast<std::size_t>(which)];
  direction.receiver = receiver_of(link_.radio, {}, receiver_site.noise_figure_db);
  direction.noise_dbm = direction.receiver.noise_dbm +
                        man_made_rise_db(direction.receiver.noise_figure_db,
                                         receiver_site.man_made_noise_db, receiver_site.feeder_db);
  direction.required_snr_db = direction.receiver.required_snr_db;
  direction.sensitivity_dbm = direction.noise_dbm + direction.required_snr_db;
  direction.eirp_dbm =
      sender.power_dbm
          ? known(*sender.power_dbm - sender.feeder_db + sender.antenna_dbi)
          : unknown(std::string("budget.") + (inbound ? "far" : "near") + ".power_dbm is not set");
  direction.signal_given = given.has_value();
  direction.signal_dbm = given ? known(*given) : path_signal(receiver_site, direction.eirp_dbm);
  direction.margin_db = direction.signal_dbm;
  if (direction.margin_db.value)
    *direction.margin_db.value -= direction.noise_dbm + direction.required_snr_db;
  availability(direction);
}

/// The margin is what may fade below the clear-air level, which is the predicted one.
Availability Computation::by_p530(double margin_db) const {
  Availability result{std::string(kP530Method), {}};
  const auto refuse = [&](const std::string& reason) {
    result.share = unknown(reason);
    return result;
  };
  if (frequency_hz_ <= 0 || distance_km_ <= 0)
    return refuse("ITU-R P.530: needs frequency and distance");
  if (const Status reaches = p530_reaches(distance_km_, frequency_hz_ * 1e-9); !reaches)
    return refuse(reaches.error().message);
  const MultipathSettings& place = budget_.multipath;
  if (!place.log10_k || !place.dn75)
    return refuse(
        "ITU-R P.530: needs the geoclimatic factor of the place, which its maps tell "
        "(budget.multipath)");
  if (!profile_ || !budget_.near.height_m || !budget_.far.height_m)
    return refuse(
        "ITU-R P.530: needs heights above sea: a terrain profile and both antennas' height_m");
  if (out_.fresnel_clearance_ratio.value.value_or(0) < 0)
    return refuse("ITU-R P.530: made for lines of sight, this one is obstructed");
  const MultipathPath path{distance_km_, frequency_hz_ * 1e-9,
                           profile_->points.front().height_m + *budget_.near.height_m,
                           profile_->points.back().height_m + *budget_.far.height_m,
                           profile_->mean_height_m()};
  const auto outage = p530_worst_month_outage(path, *place.log10_k, *place.dn75, margin_db);
  result.share = outage ? known(1 - *outage) : unknown(outage.error().message);
  return result;
}

Availability Computation::by_barnett_vigants(double margin_db) const {
  Availability result{"Barnett-Vigants, average terrain and climate", {}};
  if (frequency_hz_ <= 0 || distance_km_ <= 0) {
    result.share = unknown("Barnett-Vigants: needs frequency and distance");
    return result;
  }
  const auto outage = barnett_vigants_outage(distance_km_, frequency_hz_ * 1e-9, margin_db);
  result.share = outage ? known(1 - *outage) : unknown(outage.error().message);
  return result;
}

/// Needs a path that is known to be clear: else the dominant wave is a wish.
Availability Computation::by_rice(double margin_db) const {
  Availability result{
      "Rice, direct wave " + rounded_text(kClearPathKDb) + " dB above the rest (assumed)", {}};
  const auto& ratio = out_.fresnel_clearance_ratio;
  if (!ratio.value)
    result.share = unknown("Rice: needs a clear path, and " + ratio.reason);
  else if (*ratio.value < kFreeShareOfFirstZone)
    result.share = unknown("Rice: needs 60 % of the first Fresnel zone free, the path has " +
                           rounded_text(*ratio.value * 100, 0) + " %");
  else
    result.share = known(1 - rician_outage(kClearPathKDb, margin_db));
  return result;
}

void Computation::availability(DirectionBudget& direction) const {
  if (!direction.margin_db.value) {
    direction.availability = unknown("no margin: " + direction.margin_db.reason);
    return;
  }
  const double margin_db = *direction.margin_db.value;
  auto& methods = direction.availability_by_method;
  methods.push_back(by_p530(margin_db));
  methods.push_back(by_barnett_vigants(margin_db));
  methods.push_back({"Rayleigh", known(1 - rayleigh_outage(margin_db))});
  methods.push_back(by_rice(margin_db));
  methods.push_back({"lognormal shadowing of " + rounded_text(kShadowingDb) + " dB (assumed)",
                     known(1 - lognormal_outage(margin_db, kShadowingDb))});
  const auto first = std::find_if(methods.begin(), methods.end(), [](const Availability& method) {
    return method.share.value.has_value();
  });
  direction.availability = first->share;
  direction.availability_method = first->method;
}

void Computation::caution_target(Direction which) {
  const DirectionBudget& direction = out_.direction(which);
  if (!budget_.availability || !direction.availability.value) return;
  if (*direction.availability.value >= *budget_.availability) return;
  out_.cautions.push_back(
      {"budget.availability", budget_.availability, direction.availability.value,
       std::string(name_of(which)) + ": " + rounded_text(*direction.availability.value * 100, 4) +
           " % by " + direction.availability_method + " misses the target of " +
           rounded_text(*budget_.availability * 100, 4) + " %"});
}

/// What stands around an antenna is not on the path between the ends, so diffraction leaves it out.
void Computation::caution_clutter(const std::string& end, const SiteSettings& site,
                                  const ProfilePoint& point) {
  if (!site.height_m || !(point.clutter_m > *site.height_m)) return;
  out_.cautions.push_back({"terrain profile", point.clutter_m, *site.height_m,
                           "the " + end + " antenna at " + rounded_text(*site.height_m) +
                               " m is below the " + rounded_text(point.clutter_m) +
                               " m that stand around it, and that loss is not counted"});
}

void Computation::cautions() {
  out_.cautions = check_rules(link_);
  if (const auto ratio = out_.fresnel_clearance_ratio.value;
      ratio && *ratio < kFreeShareOfFirstZone)
    out_.cautions.push_back(
        {"ITU-R P.530-19 2.2.2", kFreeShareOfFirstZone, *ratio,
         "at " + rounded_text(*out_.fresnel_at_km, 3) + " km " +
             (*ratio < 0 ? "the line of sight is obstructed"
                         : "less than 60 % of the first Fresnel zone is free")});
  if (profile_) {
    for (const std::string& suspicion : profile_->suspicions)
      out_.cautions.push_back({"terrain profile", {}, {}, suspicion});
    caution_clutter("near", budget_.near, profile_->points.front());
    caution_clutter("far", budget_.far, profile_->points.back());
    if (usable(budget_.distance_km)) {
      const std::string text = compare_length(*profile_, distance_km_);
      if (!text.empty())
        out_.cautions.push_back({"terrain profile", distance_km_, profile_->length_km(), text});
    }
  }
  caution_target(Direction::inbound);
  caution_target(Direction::outbound);
}

/// What heavy rain would take, so that nobody has to wonder.
std::string Computation::rain() const {
  if (frequency_hz_ <= 0 || distance_km_ <= 0) return {};
  const auto loss_db_per_km = rain_loss_db_per_km(frequency_hz_, kHeavyRainMmPerH);
  if (!loss_db_per_km) return {};
  return "no rain: " + rounded_text(kHeavyRainMmPerH) + " mm/h on all of the path would take " +
         (frequency_hz_ < 1e9 ? "less than " : "") + rounded_text(*loss_db_per_km * distance_km_) +
         " dB (ITU-R P.838)";
}

void Computation::assumptions() {
  auto& list = out_.assumptions;
  const auto& inbound = out_.direction(Direction::inbound);
  const auto& outbound = out_.direction(Direction::outbound);
  const bool from_path = (inbound.signal_dbm.value && !inbound.signal_given) ||
                         (outbound.signal_dbm.value && !outbound.signal_given);
  if (from_path && !out_.diffraction_db.value)
    list.push_back("line of sight with the first Fresnel zone free: " + out_.diffraction_db.reason);
  if (inbound.receiver.noise_assumed_figure || outbound.receiver.noise_assumed_figure)
    list.push_back("noise figure " + rounded_text(kDefaultNoiseFigureDb) + " dB (common practice)");
  if (inbound.receiver.required_snr_source == RequiredSnrSource::common_practice)
    list.push_back("required SNR " + rounded_text(inbound.required_snr_db) +
                   " dB (common practice)");
  if (!link_.radio.bandwidth_hz)
    list.push_back("bandwidth " + rounded_text(inbound.receiver.bandwidth_hz / 1000) + " kHz (" +
                   (link_.radio.bit_rate_bps && inbound.receiver.bandwidth_hz != kDefaultBandwidthHz
                        ? "twice the bit rate"
                        : "common practice") +
                   ")");
  if (inbound.availability_method == "Rayleigh" || outbound.availability_method == "Rayleigh")
    list.push_back(
        "Rayleigh fading under the mean level, no dominant path: too dark a view of a "
        "path in clear sight");
  if (inbound.availability_method == kP530Method || outbound.availability_method == kP530Method)
    list.push_back("ITU-R P.530 speaks of the average worst month; the year as a whole is better");
  const bool place_known = budget_.near.man_made_noise_db > 0 && budget_.far.man_made_noise_db > 0;
  list.push_back(place_known ? "noise without interference"
                             : "noise without interference and without man-made noise where no "
                               "man_made_noise_db is set");
  if (std::string text = rain(); from_path && !text.empty()) list.push_back(std::move(text));
}

LinkBudget Computation::run() {
  out_.link = link_.name;
  settle_path();
  free_space();
  gas();
  foliage();
  terrain();
  direction(Direction::inbound);
  direction(Direction::outbound);
  air_time();
  exposure();
  cautions();
  assumptions();
  return std::move(out_);
}

}  // namespace

std::vector<MethodRow> methods_of(const LinkBudget& budget) {
  const DirectionBudget& in = budget.direction(Direction::inbound);
  const DirectionBudget& out = budget.direction(Direction::outbound);
  const auto share = [](const DirectionBudget& direction, std::size_t i) {
    const auto& methods = direction.availability_by_method;
    return i < methods.size() ? methods[i].share : direction.availability;
  };
  const auto& named =
      in.availability_by_method.empty() ? out.availability_by_method : in.availability_by_method;
  std::vector<MethodRow> rows;
  for (std::size_t i = 0; i < named.size(); ++i) {
    MethodRow& row = rows.emplace_back(MethodRow{named[i].method, share(in, i), share(out, i)});
    if (row.silent()) row.inbound.reason = row.outbound.reason = named[i].share.reason;
  }
  return rows;
}

LinkBudget compute(const LinkSettings& link, const Profile* profile) {
  return Computation(link, profile).run();
}

}  // namespace fadeward::budget
