#include "fadeward/simulate/scenario.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>
#include <utility>

#include "fadeward/base/field.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/simulate/random.hpp"
#include "fadeward/simulate/valley_years.hpp"

namespace fadeward::simulate {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

/// Random streams of the plan; those of the links begin at 16.
enum Stream : std::uint64_t { levels = 2, story = 3, rain = 4 };

Duration scaled(Duration span, double by) {
  return seconds_to_duration(duration_to_seconds(span) * by);
}

/// A plan in the making: the healthy world that each scenario then spoils in its own way.
struct Draft {
  const Options& options;
  Plan plan;
  Climate climate;
  Random random;  // for the story
  Time end{};
  Time onset{};
  std::optional<Time> until;

  LinkPlan& first() { return plan.links.front(); }
  double size(double usual) const { return options.size.value_or(usual); }

  Fault fault(Cause cause, double usual_size, Shape shape = Shape::step) const {
    Fault out;
    out.cause = cause;
    out.shape = shape;
    out.from = onset;
    out.until = until;
    out.size = size(usual_size);
    return out;
  }
  /// Grows over most of what is left of the world.
  Fault growing(Cause cause, double usual_size, Shape shape) const {
    Fault out = fault(cause, usual_size, shape);
    out.ramp = scaled(until.value_or(end) - onset, 0.8);
    return out;
  }
  void far_side(Fault fault) { first().faults.push_back(std::move(fault)); }
  void near_side(const Fault& fault) {
    for (LinkPlan& link : plan.links) link.faults.push_back(fault);
  }
};

std::vector<std::uint16_t> some_channels(int wanted, int channels, Random& random) {
  std::vector<std::uint16_t> all(static_cast<std::size_t>(channels));
  std::iota(all.begin(), all.end(), std::uint16_t{0});
  for (std::size_t i = 0; i < static_cast<std::size_t>(wanted); ++i) {
    std::swap(all[i], all[i + random.below(static_cast<std::uint32_t>(all.size() - i))]);
  }
  all.resize(static_cast<std::size_t>(wanted));
  std::sort(all.begin(), all.end());
  return all;
}

Fault jammed(Draft& draft, Cause cause) {
  Fault fault = draft.fault(cause, 6);
  fault.channels = some_channels(6, draft.first().channels, draft.random);
  return fault;
}

void build_collisions(Draft& draft, Direction direction) {
  Fault fault = draft.fault(Cause::collisions, 0.10);
  fault.direction = direction;
  if (direction == Direction::inbound) {
    draft.near_side(fault);
  } else {
    draft.far_side(fault);
  }
}

/// The site's radio restarts about daily, the gateway's, which all links share, about every third
/// day; each takes one or two minutes.
void build_restarts(Draft& draft) {
  Time at = draft.plan.start + hours(2);
  for (;;) {
    const Duration gap = hours(1) + seconds_to_duration(draft.random.exponential(17.0 * 3600));
    at += gap;
    if (at >= draft.end) return;
    const bool gateway = draft.random.below(4) == 0;
    const Duration boot = seconds_to_duration(draft.random.uniform(40, 120));
    const Outage outage{Cause::restart, at, at + boot, gateway, !gateway};
    for (LinkPlan& link : draft.plan.links) {
      if (gateway || &link == &draft.first()) link.outages.push_back(outage);
    }
  }
}

void build_silence(Draft& draft) {
  const Time until = draft.until.value_or(draft.onset + hours(6));
  draft.first().outages.push_back({Cause::silent, draft.onset, until, false, true});
}

/// Noise for some hours of most days, and gone again.
void build_noise_bursts(Draft& draft) {
  for (Time day = draft.plan.start + hours(24); day < draft.end; day += hours(24)) {
    if (draft.random.below(4) == 0) continue;
    Fault fault = draft.fault(Cause::near_noise, 6, Shape::burst);
    fault.from = day + seconds_to_duration(3600 * draft.random.uniform(6, 16));
    fault.until = fault.from + seconds_to_duration(3600 * draft.random.uniform(1, 4));
    draft.near_side(fault);
  }
}

void build_adapting(Draft& draft, bool power, bool rate) {
  for (LinkPlan& link : draft.plan.links) {
    link.power_control = power;
    link.rate_adaptation = rate;
    link.shadow_sd_db = 3.5;
    link.shadow_time = hours(30);
    if (rate && !draft.options.signal_dbm) {
      link.inbound_signal_dbm -= 13;
      link.outbound_signal_dbm -= 13;
    }
  }
}

void set_levels(LinkPlan& link, double signal_dbm, double asymmetry_db) {
  link.inbound_signal_dbm = signal_dbm + asymmetry_db;
  link.outbound_signal_dbm = signal_dbm - asymmetry_db;
}

void shift_levels(Draft& draft, double by_db) {
  if (draft.options.signal_dbm) return;
  for (LinkPlan& link : draft.plan.links) {
    link.inbound_signal_dbm += by_db;
    link.outbound_signal_dbm += by_db;
  }
}

void omit(Draft& draft, std::initializer_list<Field> fields) {
  for (const Field field : fields) {
    draft.plan.omitted |= std::uint64_t{1} << static_cast<unsigned>(field);
  }
}

/// Four invented links of an invented river authority. The story takes three days; a longer world
/// stretches it, a shorter one sees its beginning.
void build_tarn_valley(Draft& draft) {
  Plan& plan = draft.plan;
  const double stretch = std::max(1.0, duration_to_seconds(plan.length) / (3 * 86400.0));
  const auto hour = [&](double h) { return plan.start + seconds_to_duration(3600 * h * stretch); };

  plan.links.resize(4);
  for (LinkPlan& each : plan.links) each = plan.links.front();
  LinkPlan& weir = plan.links[0];    // 4.1 km, open
  LinkPlan& ridge = plan.links[1];   // 14.6 km over a wooded crest
  LinkPlan& sluice = plan.links[2];  // 9.3 km along an alder carr
  LinkPlan& quarry = plan.links[3];  // 6.7 km, beside a busy yard
  weir.name = "weir";
  ridge.name = "ridge";
  sluice.name = "sluice";
  quarry.name = "quarry";
  set_levels(weir, draft.options.signal_dbm.value_or(-92), 0.2);
  set_levels(ridge, draft.options.signal_dbm.value_or(-101), -0.3);
  set_levels(sluice, draft.options.signal_dbm.value_or(-102), 0.4);
  set_levels(quarry, draft.options.signal_dbm.value_or(-98), -0.1);
  weir.rain_factor = 0.4;
  ridge.rain_factor = 1.3;
  sluice.leaf_loss_db = 4;
  quarry.fading_k_db = 7;

  const auto fault = [&](Cause cause, Shape shape, double from, double until, double size) {
    Fault out;
    out.cause = cause;
    out.shape = shape;
    out.from = hour(from);
    out.until = hour(until);
    out.size = size;
    return out;
  };
  // A drive starts in the yard below the antenna that looks to the quarry; weir's radio restarts;
  // a tree leans into the path over the crest until it is felled.
  quarry.faults.push_back(fault(Cause::near_noise, Shape::burst, 1.0, 3.0, 16));
  weir.outages.push_back(
      {Cause::restart, hour(2.5), hour(2.5) + seconds_to_duration(75), false, true});
  ridge.faults.push_back(fault(Cause::path, Shape::step, 3.5, 27, 12));
  // The battery at the sluice fades, takes the transmitter with it, dies and is replaced.
  Fault sag = fault(Cause::far_transmit, Shape::drift, 10, 31, 11);
  sag.ramp = scaled(hours(8), stretch);
  sluice.faults.push_back(sag);
  sluice.outages.push_back({Cause::silent, hour(29), hour(31), false, true});
  // A site radio takes six hop channels; other traffic meets weir's frames; water in ridge's
  // feeder.
  Fault six = fault(Cause::near_channels, Shape::step, 36, 46, 8);
  six.channels = some_channels(6, quarry.channels, draft.random);
  quarry.faults.push_back(six);
  ridge.faults.push_back(fault(Cause::far_antenna, Shape::step, 50, 66, 6));
  weir.faults.push_back(fault(Cause::collisions, Shape::step, 54, 60, 0.12));
}

struct Scenario {
  std::string_view name;
  std::string_view description;
  std::function<void(Draft&)> build;
};

const std::vector<Scenario>& table() {
  static const std::vector<Scenario> scenarios{
      {"healthy", "nothing is wrong: shadowing, daily cycle and rain only", [](Draft&) {}},
      {"path-step", "both directions lose signal alike from one moment on",
       [](Draft& d) { d.far_side(d.fault(Cause::path, 6)); }},
      {"far-transmit", "the site's transmitter loses power",
       [](Draft& d) { d.far_side(d.fault(Cause::far_transmit, 6)); }},
      {"near-transmit", "the gateway's transmitter loses power",
       [](Draft& d) { d.near_side(d.fault(Cause::near_transmit, 6)); }},
      {"near-noise", "noise at the gateway rises on all channels",
       [](Draft& d) { d.near_side(d.fault(Cause::near_noise, 6)); }},
      {"far-noise", "noise at the site rises on all channels",
       [](Draft& d) { d.far_side(d.fault(Cause::far_noise, 6)); }},
      {"near-receive", "the gateway's receiver reads signal and noise lower",
       [](Draft& d) { d.near_side(d.fault(Cause::near_receive, 6)); }},
      {"far-receive", "the site's receiver reads signal and noise lower",
       [](Draft& d) { d.far_side(d.fault(Cause::far_receive, 6)); }},
      {"near-antenna", "antenna or feeder of the gateway loses signal and outside noise",
       [](Draft& d) { d.near_side(d.fault(Cause::near_antenna, 6)); }},
      {"far-antenna", "antenna or feeder of the site loses signal and outside noise",
       [](Draft& d) { d.far_side(d.fault(Cause::far_antenna, 6)); }},
      {"narrow-band", "six of fifty hop channels are jammed at the gateway",
       [](Draft& d) { d.near_side(jammed(d, Cause::near_channels)); }},
      {"far-narrow-band", "six of fifty hop channels are jammed at the site",
       [](Draft& d) { d.far_side(jammed(d, Cause::far_channels)); }},
      {"collisions", "other traffic destroys a share of inbound frames whatever their level",
       [](Draft& d) { build_collisions(d, Direction::inbound); }},
      {"outbound-collisions", "other traffic destroys a share of outbound frames",
       [](Draft& d) { build_collisions(d, Direction::outbound); }},
      {"restarts", "radios at both ends restart now and then", build_restarts},
      {"silence", "the site is without power for six hours", build_silence},
      {"blackout", "both ends send on, but nothing arrives for six hours",
       [](Draft& d) {
         Fault fault = d.fault(Cause::path, 60);
         fault.until = d.until.value_or(d.onset + hours(6));
         d.far_side(fault);
       }},
      {"tarn-valley", "four invented links and their troubles of three days", build_tarn_valley},
      {"tarn-valley-years", "the same valley over five years: seasons, a barn, a wet feeder, work",
       [](Draft& d) {
         build_valley_years(d.plan, d.options, d.random);
         d.climate.snow_share = 1.0 / 3;
       }},
      {"rain", "heavy rain of 2 to 4.5 dB almost every day",
       [](Draft& d) {
         d.climate = {hours(22), 2.0, 4.5};
       }},
      {"drift", "the path loses signal slowly",
       [](Draft& d) { d.far_side(d.growing(Cause::path, 6, Shape::drift)); }},
      {"transmit-drift", "the site's transmitter fades slowly",
       [](Draft& d) { d.far_side(d.growing(Cause::far_transmit, 6, Shape::drift)); }},
      {"growing-cycle", "a daily cycle of the path grows",
       [](Draft& d) { d.far_side(d.growing(Cause::path, 4, Shape::cycle)); }},
      {"noise-bursts", "noise at the gateway for some hours of most days", build_noise_bursts},
      {"foliage-season", "4 dB of leaves each summer and 1.5 dB of steady loss a year",
       [](Draft& d) {
         d.first().leaf_loss_db = d.size(4);
         d.first().aging_db_per_year = 1.5;
       }},
      {"weak", "a link at its limit: a third to a half of the frames lost, no fault",
       [](Draft& d) { shift_levels(d, -19.5); }},
      {"strong", "a link far above the ceiling of reported SNR, no fault",
       [](Draft& d) { shift_levels(d, 25); }},
      {"hourly", "a site that reports once an hour, no fault",
       [](Draft& d) {
         if (!d.options.interval_s) d.plan.interval = hours(1);
       }},
      {"rssi-only", "radios that report neither SNR nor noise, no fault",
       [](Draft& d) {
         omit(d, {Field::snr_db, Field::noise_dbm, Field::far_snr_db, Field::far_noise_dbm});
       }},
      {"power-control", "both powers follow a slowly changing path, no fault",
       [](Draft& d) { build_adapting(d, true, false); }},
      {"rate-adaptation", "the spreading factor follows a slowly changing path, no fault",
       [](Draft& d) { build_adapting(d, false, true); }},
      {"setting-change", "both powers are set 6 dB lower at one moment, no fault",
       [](Draft& d) {
         for (LinkPlan& link : d.plan.links) {
           link.power_steps.push_back({d.onset, -d.size(6), -d.size(6)});
         }
       }},
  };
  return scenarios;
}

const Scenario* find_scenario(std::string_view name) {
  for (const Scenario& scenario : table()) {
    if (scenario.name == name) return &scenario;
  }
  return nullptr;
}

Error unknown_scenario(const std::string& name) {
  std::string message = "scenario '" + printable(name, 60) + "' is not one of:";
  for (const Scenario& scenario : table()) message += " " + std::string(scenario.name);
  return {message};
}

Status check_range(std::string_view option, double value, double low, double high) {
  if (value >= low && value <= high) return success();  // false for NaN
  std::string message(option);
  message += ": ";
  append_rounded(message, value, 6);
  message += " is not within ";
  append_rounded(message, low, 6);
  message += " to ";
  append_rounded(message, high, 6);
  return Error{message};
}

Status check(const Options& o) {
  constexpr double kLongestDays = 36600;
  std::vector<Status> checks;
  checks.push_back(check_range("days", o.days, 1e-6, kLongestDays));
  checks.push_back(check_range("start", to_unix_seconds(o.start), 0, 253402300799.0));
  checks.push_back(check_range("links", o.links, 1, 4096));
  if (o.interval_s) checks.push_back(check_range("interval_s", *o.interval_s, 0.5, 86400));
  if (o.signal_dbm) checks.push_back(check_range("signal_dbm", *o.signal_dbm, -140, -40));
  if (o.size) {
    const bool share = o.scenario.ends_with("collisions");
    checks.push_back(check_range("size", *o.size, share ? 0.0 : -60.0, share ? 1.0 : 60.0));
  }
  if (o.onset_days) checks.push_back(check_range("onset_days", *o.onset_days, 0, kLongestDays));
  if (o.fault_hours) checks.push_back(check_range("fault_hours", *o.fault_hours, 0, 1e6));
  if (o.fading_k_db) checks.push_back(check_range("fading_k_db", *o.fading_k_db, -10, 30));
  if (o.seq_bits) checks.push_back(check_range("seq_bits", *o.seq_bits, 8, 64));
  if (o.counter_bits) checks.push_back(check_range("counter_bits", *o.counter_bits, 8, 64));
  for (const Status& status : checks) {
    if (!status) return status;
  }
  return success();
}

/// The healthy world of these options: the same for every scenario of one seed.
Plan healthy_plan(const Options& options) {
  Plan plan;
  plan.scenario = options.scenario;
  plan.seed = options.seed;
  plan.start = options.start;
  plan.length = seconds_to_duration(options.days * 86400.0);
  plan.interval = seconds_to_duration(options.interval_s.value_or(10.0));
  plan.seq_bits = options.seq_bits.value_or(64);
  plan.counter_bits = options.counter_bits.value_or(64);

  Random random(options.seed, levels);
  const double gateway_noise_db = random.uniform(-0.5, 0.5);
  for (int i = 0; i < options.links; ++i) {
    LinkPlan link;
    link.name = "L" + std::to_string(i + 1);
    // The first is the one that a minimal configuration budgets at -100 dBm; neighbours differ.
    const double spread_db = i == 0 ? 0.5 : 6.0;
    const double level_db = random.uniform(-spread_db, spread_db);
    const double asymmetry_db = random.uniform(-0.5, 0.5);
    link.far_outside_noise_dbm += random.uniform(-0.5, 0.5);
    link.near_outside_noise_dbm += gateway_noise_db;
    if (options.signal_dbm) {
      set_levels(link, *options.signal_dbm, 0);
    } else {
      set_levels(link, -100 + level_db, asymmetry_db);
    }
    link.fading_k_db = options.fading_k_db.value_or(link.fading_k_db);
    plan.links.push_back(std::move(link));
  }
  return plan;
}

}  // namespace

const std::vector<ScenarioInfo>& scenarios() {
  static const std::vector<ScenarioInfo> infos = [] {
    std::vector<ScenarioInfo> out;
    for (const Scenario& scenario : table()) {
      const bool valley = scenario.name.starts_with("tarn-valley");
      out.push_back(
          {scenario.name, scenario.description, valley ? "weir ridge sluice quarry" : "L1"});
    }
    return out;
  }();
  return infos;
}

Result<Plan> make_plan(const Options& options) {
  const Scenario* scenario = find_scenario(options.scenario);
  if (scenario == nullptr) return unknown_scenario(options.scenario);
  if (const Status status = check(options); !status) return status.error();

  Draft draft{options, healthy_plan(options), {}, Random(options.seed, story), {}, {}, {}};
  for (const std::string& name : options.omit) {
    const std::optional<Field> field = field_by_name(name);
    if (!field) return Error{"omit: '" + printable(name, 60) + "' is no key of a report"};
    omit(draft, {*field});
  }
  draft.end = draft.plan.start + draft.plan.length;
  // Late enough to learn what is usual, early enough to see what follows.
  const double share = draft.random.uniform(0.55, 0.75);
  draft.onset =
      draft.plan.start + (options.onset_days ? seconds_to_duration(*options.onset_days * 86400.0)
                                             : scaled(draft.plan.length, share));
  if (options.fault_hours) {
    draft.until = draft.onset + seconds_to_duration(*options.fault_hours * 3600.0);
  }
  scenario->build(draft);
  if (options.rain) {
    draft.plan.showers = make_showers(draft.climate, draft.plan.start, draft.plan.length,
                                      Random(options.seed, rain));
  }
  return std::move(draft.plan);
}

}  // namespace fadeward::simulate
