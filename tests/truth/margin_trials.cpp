// Margins of the whole pipeline against worlds whose truth is known: how far off, and how honest.
//
//   truth_margin [--worlds N] [--seed FIRST] [--only TEXT] [--judge]
//
// Prints one row per group: hours compared, hours without a margin, root mean square error, bias
// and worst error of the median, root mean square of its stated standard error, share of hours
// within two of them, and the error of the one-percent level. With --judge it fails where an error
// is above its target or a standard error is far too small. Seeds below 1000 are for tuning, those
// from 5000 on for reporting.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/judge/supervisor.hpp"
#include "fadeward/report/canonical.hpp"
#include "fadeward/simulate/random.hpp"
#include "fadeward/simulate/scenario.hpp"
#include "fadeward/simulate/world.hpp"
#include "truth/plain_air.hpp"
#include "minimal_settings.hpp"

namespace fadeward::truth {

namespace {

constexpr std::size_t kIn = 0, kOut = 1;

// ---- groups ----------------------------------------------------------------------------------

struct Group {
  std::string name;
  std::size_t direction = kIn;
  std::string scenario = "healthy";
  double days = 4;
  double signal_from_dbm = -100, signal_to_dbm = -100;  ///< of worlds, spread evenly
  double asymmetry_db = 0;                              ///< outbound is up to this much off
  double fading_k_db = 10;
  std::optional<double> size = {};
  std::optional<double> interval_s = {};
  std::vector<std::string> omit = {};
  double loss_from = 0, loss_to = 1;            ///< hours whose true loss lies here
  double after_onset_h = 0, until_onset_h = 0;  ///< hours after the fault's onset only
  double skip_h = 3;                            ///< at the start
  bool plain_air = false;                       ///< the other physics
  AirPlan air = {};
  double target_rmse_db = 0;  ///< 0: not judged
  double honest_from = 0.90, honest_to = 0.99;
  std::function<void(simulate::Plan&)> adapt = {};
};

const std::vector<std::string> kNoCounters = {"tx_frames",       "far_rx_frames", "tx_retries",
                                              "tx_failures",     "far_tx_frames", "far_tx_retries",
                                              "far_tx_failures", "rx_frames"};

std::vector<Group> groups() {
  std::vector<Group> out;
  const auto both = [&](const Group& group) {
    for (const std::size_t d : {kIn, kOut}) {
      Group one = group;
      one.direction = d;
      one.name += d == kIn ? " in" : " out";
      out.push_back(one);
    }
  };
  const auto with = [](Group group, std::vector<std::string> omit) {
    group.omit = std::move(omit);
    return group;
  };
  both({.name = "strong", .signal_from_dbm = -102, .signal_to_dbm = -94, .target_rmse_db = 0.20});
  both({.name = "saturated snr",
        .signal_from_dbm = -85,
        .signal_to_dbm = -75,
        .target_rmse_db = 0.20});
  both({.name = "mid", .signal_from_dbm = -110, .signal_to_dbm = -104, .target_rmse_db = 0.20});
  both({.name = "low", .signal_from_dbm = -117, .signal_to_dbm = -112});
  const Group weak{.name = "weak",
                   .days = 5,
                   .signal_from_dbm = -120.3,
                   .signal_to_dbm = -118.7,
                   .asymmetry_db = 0.5,
                   .loss_from = 0.2,
                   .loss_to = 0.6};
  const auto weak_rows = [&](Group group, const std::string& name) {
    group.name = name + " in";
    group.target_rmse_db = 0.30;
    out.push_back(group);
    group.direction = kOut;
    group.name = name + " out";
    group.target_rmse_db = 0.35;
    out.push_back(group);
    group.name = name + " out, no far_rx";
    group.omit = {"far_rx_frames"};
    group.target_rmse_db = 0.45;
    out.push_back(group);
    group.name = name + " out, no counters";
    group.omit = kNoCounters;
    out.push_back(group);
  };
  weak_rows(weak, "weak");
  Group rough = weak;
  rough.fading_k_db = 5;
  weak_rows(rough, "weak K 5");
  Group uneven = weak;
  uneven.signal_from_dbm = -119.5;
  uneven.signal_to_dbm = -112;
  uneven.adapt = [](simulate::Plan& plan) { plan.links.front().outbound_signal_dbm = -119.5; };
  uneven.direction = kOut;
  uneven.name = "weak out only, counters";
  uneven.target_rmse_db = 0.35;
  out.push_back(uneven);
  uneven.name = "weak out only, no counters";
  uneven.omit = kNoCounters;
  uneven.target_rmse_db = 0.45;
  out.push_back(uneven);
  both({.name = "slightly lossy",
        .days = 5,
        .signal_from_dbm = -118,
        .signal_to_dbm = -115,
        .loss_from = 0.02,
        .loss_to = 0.2,
        .target_rmse_db = 0.30});
  both({.name = "mostly lost",
        .days = 5,
        .signal_from_dbm = -121.5,
        .signal_to_dbm = -120,
        .loss_from = 0.6,
        .loss_to = 0.85});
  for (const double size : {3.0, 6.0, 10.0}) {
    both({.name = "after step " + std::to_string(static_cast<int>(size)),
          .scenario = "path-step",
          .days = 3,
          .size = size,
          .after_onset_h = 2,
          .until_onset_h = 12,
          .target_rmse_db = 0.35});
  }
  both({.name = "step into loss",
        .scenario = "path-step",
        .days = 3,
        .signal_from_dbm = -110,
        .signal_to_dbm = -110,
        .size = 9.5,
        .after_onset_h = 2,
        .until_onset_h = 12,
        .target_rmse_db = 0.35});
  out.push_back({.name = "noise into loss",
                 .scenario = "near-noise",
                 .days = 3,
                 .signal_from_dbm = -108,
                 .signal_to_dbm = -108,
                 .size = 12,
                 .after_onset_h = 2,
                 .until_onset_h = 12,
                 .target_rmse_db = 0.35});
  out.push_back({.name = "near-transmit step out",
                 .direction = kOut,
                 .scenario = "near-transmit",
                 .days = 3,
                 .signal_from_dbm = -112,
                 .signal_to_dbm = -112,
                 .size = 7,
                 .omit = kNoCounters,
                 .after_onset_h = 2,
                 .until_onset_h = 12,
                 .target_rmse_db = 0.45});
  out.push_back({.name = "collisions 20 %",
                 .scenario = "collisions",
                 .signal_from_dbm = -108,
                 .signal_to_dbm = -100,
                 .size = 0.2,
                 .after_onset_h = 1,
                 .until_onset_h = 99,
                 .target_rmse_db = 0.20});
  out.push_back({.name = "collisions 20 % low",
                 .scenario = "collisions",
                 .signal_from_dbm = -116,
                 .signal_to_dbm = -112,
                 .size = 0.2,
                 .after_onset_h = 1,
                 .until_onset_h = 99,
                 .target_rmse_db = 0.30});
  out.push_back({.name = "collisions 20 % weak",
                 .scenario = "collisions",
                 .signal_from_dbm = -119,
                 .signal_to_dbm = -118,
                 .size = 0.2,
                 .after_onset_h = 1,
                 .until_onset_h = 99});
  out.push_back({.name = "jammed 6 of 50",
                 .scenario = "narrow-band",
                 .size = 6,
                 .after_onset_h = 1,
                 .until_onset_h = 99,
                 .target_rmse_db = 0.20});
  out.push_back({.name = "jammed to loss",
                 .scenario = "narrow-band",
                 .signal_from_dbm = -106,
                 .signal_to_dbm = -106,
                 .size = 20,
                 .after_onset_h = 1,
                 .until_onset_h = 99,
                 .target_rmse_db = 0.35,
                 .honest_from = 0.75});
  const std::vector<std::string> rssi_only = {"snr_db", "noise_dbm", "far_snr_db", "far_noise_dbm"};
  const std::vector<std::string> snr_only = {"rssi_dbm", "noise_dbm", "far_rssi_dbm",
                                             "far_noise_dbm"};
  const std::vector<std::string> no_noise = {"noise_dbm", "far_noise_dbm"};
  // Noise that nobody reports is assumed, and no estimate of this program's: the row shows by how
  // much.
  both(with({.name = "rssi only",
             .signal_from_dbm = -105,
             .signal_to_dbm = -95,
             .honest_from = 0,
             .honest_to = 1},
            rssi_only));
  both(with({.name = "rssi, noise",
             .signal_from_dbm = -110,
             .signal_to_dbm = -90,
             .target_rmse_db = 0.20},
            {"snr_db", "far_snr_db"}));
  both(with(
      {.name = "snr only", .signal_from_dbm = -114, .signal_to_dbm = -110, .target_rmse_db = 0.20},
      snr_only));
  both(with({.name = "snr only, weak",
             .days = 5,
             .signal_from_dbm = -120.3,
             .signal_to_dbm = -118.7,
             .loss_from = 0.2,
             .loss_to = 0.6},
            snr_only));
  both(with(
      {.name = "no noise", .signal_from_dbm = -114, .signal_to_dbm = -108, .target_rmse_db = 0.20},
      no_noise));
  both(with({.name = "no noise, weak",
             .days = 5,
             .signal_from_dbm = -120.3,
             .signal_to_dbm = -118.7,
             .loss_from = 0.2,
             .loss_to = 0.6,
             .target_rmse_db = 0.35},
            no_noise));
  both(with({.name = "no noise, near ceiling", .signal_from_dbm = -106, .signal_to_dbm = -102},
            no_noise));
  both(with({.name = "no channel", .target_rmse_db = 0.20}, {"channel"}));
  both(with({.name = "no channel, weak",
             .days = 5,
             .signal_from_dbm = -120.3,
             .signal_to_dbm = -118.7,
             .loss_from = 0.2,
             .loss_to = 0.6,
             .target_rmse_db = 0.35},
            {"channel"}));
  both(with({.name = "no seq", .target_rmse_db = 0.20}, {"seq"}));
  both(with({.name = "no seq, weak",
             .days = 5,
             .signal_from_dbm = -120.3,
             .signal_to_dbm = -118.7,
             .loss_from = 0.2,
             .loss_to = 0.6,
             .target_rmse_db = 0.35},
            {"seq"}));
  both({.name = "hourly", .scenario = "hourly", .days = 30, .skip_h = 60});
  both({.name = "rate adaptation",
        .scenario = "rate-adaptation",
        .signal_from_dbm = -116,
        .signal_to_dbm = -110,
        .target_rmse_db = 0.35});
  both({.name = "power control", .scenario = "power-control", .target_rmse_db = 0.20});
  const AirPlan air;
  const auto other = [&](const std::string& name, double margin_db, double loss_from,
                         double loss_to, bool counters, double target_db) {
    Group group;
    group.name = "other air, " + name;
    group.plain_air = true;
    group.air = air;
    group.air.inbound_margin_db = group.air.outbound_margin_db = margin_db;
    group.air.counters = counters;
    group.loss_from = loss_from;
    group.loss_to = loss_to;
    group.days = 5;
    group.target_rmse_db = target_db;
    return group;
  };
  both(other("strong", 16, 0, 1, true, 0.20));
  both(other("weak", 0.8, 0.2, 0.6, true, 0.30));
  both(other("weak, no counters", 0.8, 0.2, 0.6, false, 0.45));
  Group soft = other("weak, soft", 0.8, 0.2, 0.6, true, 0.35);
  soft.air.threshold_sd_db = 1.2;
  both(soft);
  Group smooth = other("weak, steady", 0.5, 0.2, 0.6, true, 0.35);
  smooth.air.fading_sd_db = 1;
  smooth.air.channel_sd_db = 1;
  both(smooth);
  Group sparse = other("every 5 min", 12, 0, 1, true, 0);
  sparse.air.interval_s = 300;
  sparse.days = 20;
  both(sparse);
  Group sparse_weak = other("every 5 min, weak", 1, 0.1, 0.7, true, 0);
  sparse_weak.air.interval_s = 300;
  sparse_weak.days = 30;
  sparse_weak.skip_h = 24;
  both(sparse_weak);
  Group collided = other("low, collisions", 7, 0, 1, true, 0.30);
  collided.air.collisions = 0.15;
  both(collided);
  return out;
}

/// Median and count of one direction over one hour, lost frames included.
struct TrueHour {
  std::int64_t end_s = 0;
  double margin_db = 0;
  double margin_low_db = 0;
  double loss_ratio = 0;
  std::size_t frames = 0;
};

// ---- one world through the pipeline ------------------------------------------------------------

struct Said {
  double margin_db, stderr_db, low_db, window_s;
};
using SaidByHour = std::map<std::int64_t, Said>;

/// Drives the supervisor as a replay does: ticks each minute, a snapshot each hour.
class Listener {
 public:
  explicit Listener(std::size_t direction) : direction_(direction), settings_(minimal_settings()) {}

  void hear(const std::string& line) {
    if (!parser_.parse(line, report_) || !report_.timed) {
      std::fprintf(stderr, "not readable: %s\n", line.c_str());
      std::exit(1);
    }
    const Time at = report_.time;
    if (!supervisor_) {
      judge::SupervisorOptions options;
      options.keep_intervals = true;
      options.recording = true;
      supervisor_.emplace(settings_, Instant{at, at.time_since_epoch()}, options);
      minute_ = std::chrono::ceil<std::chrono::minutes>(at + Duration{1});
    }
    for (; minute_ <= at; minute_ += std::chrono::minutes{1}) tick(minute_);
    supervisor_->take(report_, {at, at.time_since_epoch()});
    supervisor_->clear_events();
  }
  const SaidByHour& said() const { return said_; }

 private:
  void tick(Time at) {
    const Instant now{at, at.time_since_epoch()};
    supervisor_->tick(now);
    supervisor_->clear_events();
    const auto seconds =
        std::chrono::duration_cast<std::chrono::seconds>(at.time_since_epoch()).count();
    if (seconds % 3600 != 0) return;
    const auto snapshot =
        supervisor_->interval_snapshot(0, static_cast<Direction>(direction_), now);
    if (snapshot.margin_db)
      said_[seconds] = {*snapshot.margin_db, snapshot.margin_stderr_db.value_or(0),
                        snapshot.margin_low_db.value_or(NAN), duration_to_seconds(snapshot.window)};
  }

  std::size_t direction_;
  Settings settings_;
  report::CanonicalParser parser_;
  LinkReport report_;
  std::optional<judge::Supervisor> supervisor_;
  Time minute_{};
  SaidByHour said_;
};

double number_of(std::string_view line, std::string_view key) {
  const std::string wanted = "\"" + std::string(key) + "\":";
  const std::size_t at = line.find(wanted);
  if (at == std::string_view::npos) return NAN;
  const std::string text(line.substr(at + wanted.size(), 24));
  return text.starts_with("null") ? NAN : std::strtod(text.c_str(), nullptr);
}

std::vector<TrueHour> truth_of(const std::string& lines, std::size_t direction) {
  std::vector<TrueHour> out;
  for (std::size_t at = 0; at < lines.size();) {
    const std::size_t end = std::min(lines.find('\n', at), lines.size());
    const std::string_view line(lines.data() + at, end - at);
    at = end + 1;
    if (line.find("\"kind\":\"truth\"") == std::string_view::npos) continue;
    if ((line.find("\"inbound\"") != std::string_view::npos) != (direction == kIn)) continue;
    out.push_back({static_cast<std::int64_t>(number_of(line, "time")), number_of(line, "margin_db"),
                   number_of(line, "margin_low_db"), number_of(line, "loss_ratio"),
                   static_cast<std::size_t>(number_of(line, "frames"))});
  }
  return out;
}

struct Outcome {
  SaidByHour said;
  std::vector<TrueHour> hours;
  double start_s = 0, onset_s = 0;
};

/// Over the window that was said: the hour, or more where it holds few frames.
std::vector<TrueHour> truth_of(const std::vector<AirFrame>& frames, const SaidByHour& said) {
  std::vector<TrueHour> out;
  for (const auto& [end_s, at] : said) {
    std::vector<double> margins;
    std::size_t lost = 0;
    for (const AirFrame& frame : frames) {
      if (frame.time_s <= static_cast<double>(end_s) - at.window_s - 1 ||
          frame.time_s > static_cast<double>(end_s))
        continue;
      margins.push_back(frame.margin_db);
      lost += frame.heard ? 0 : 1;
    }
    if (margins.empty()) continue;
    std::sort(margins.begin(), margins.end());
    const std::size_t n = margins.size();
    out.push_back({end_s, (margins[(n - 1) / 2] + margins[n / 2]) / 2, margins[n / 100],
                   static_cast<double>(lost) / static_cast<double>(n), n});
  }
  return out;
}

Outcome run_plain(const Group& group, std::uint64_t seed) {
  AirPlan plan = group.air;
  plan.seed = seed;
  plan.days = group.days;
  PlainAir air(plan);
  Listener listener(group.direction);
  std::string line;
  while (air.next(line)) listener.hear(line);
  return {listener.said(), truth_of(air.frames[group.direction], listener.said()),
          PlainAir::kStartS, 0};
}

Outcome run_simulated(const Group& group, std::uint64_t seed, double place) {
  simulate::Options options;
  options.scenario = group.scenario;
  options.seed = seed;
  options.days = group.days;
  options.interval_s = group.interval_s;
  options.size = group.size;
  options.fading_k_db = group.fading_k_db;
  options.omit = group.omit;
  options.truth = true;
  if (group.scenario == "path-step" || group.after_onset_h > 0)
    options.onset_days = group.days * 0.6;
  options.signal_dbm =
      group.signal_from_dbm + place * (group.signal_to_dbm - group.signal_from_dbm);
  auto made = simulate::make_plan(options);
  if (!made) {
    std::fprintf(stderr, "%s\n", made.error().message.c_str());
    std::exit(1);
  }
  simulate::Plan plan = std::move(made).value();
  simulate::Random random(seed, 99);
  plan.links.front().outbound_signal_dbm += group.asymmetry_db * random.uniform(-1.0, 1.0);
  if (group.adapt) group.adapt(plan);
  Outcome out;
  out.start_s = to_unix_seconds(plan.start);
  if (!plan.links.front().faults.empty())
    out.onset_s = to_unix_seconds(plan.links.front().faults.front().from);
  simulate::World world(std::move(plan), true);
  Listener listener(group.direction);
  std::string line, truth;
  Time at;
  while (world.next(line, at)) {
    listener.hear(line);
    truth += world.take_truth();
  }
  truth += world.take_truth();
  out.hours = truth_of(truth, group.direction);
  out.said = listener.said();
  return out;
}

// ---- the table ---------------------------------------------------------------------------------

struct Tally {
  std::size_t hours = 0, silent = 0, honest = 0, lows = 0;
  double sum = 0, square = 0, stderr_square = 0, low_square = 0, worst = 0;
};

/// True median of the window that the program used: several hours where it had to grow.
double true_margin(const std::vector<TrueHour>& hours, std::size_t at) {
  if (hours[at].frames >= 30 || hours[at].frames == 0) return hours[at].margin_db;
  std::vector<double> some;  // hours of few frames weigh alike
  std::size_t frames = 0;
  for (std::size_t i = at + 1; i-- > 0 && frames < 30;) {
    some.push_back(hours[i].margin_db);
    frames += hours[i].frames;
  }
  std::sort(some.begin(), some.end());
  return (some[(some.size() - 1) / 2] + some[some.size() / 2]) / 2;
}

Tally run_group(const Group& group, std::uint64_t first_seed, std::size_t worlds) {
  Tally tally;
  for (std::size_t w = 0; w < worlds; ++w) {
    const double place =
        worlds > 1 ? static_cast<double>(w) / static_cast<double>(worlds - 1) : 0.5;
    const Outcome outcome = group.plain_air ? run_plain(group, first_seed + w)
                                            : run_simulated(group, first_seed + w, place);
    for (std::size_t i = 0; i < outcome.hours.size(); ++i) {
      const TrueHour& hour = outcome.hours[i];
      const double age_h = (static_cast<double>(hour.end_s) - outcome.start_s) / 3600;
      if (age_h < group.skip_h || hour.frames == 0) continue;
      if (hour.loss_ratio < group.loss_from || hour.loss_ratio > group.loss_to) continue;
      if (group.until_onset_h > 0) {
        const double since_h = (static_cast<double>(hour.end_s) - outcome.onset_s) / 3600;
        if (since_h < group.after_onset_h || since_h > group.until_onset_h) continue;
      }
      // The last hour may have no report behind it that lets the clock of the replay reach its end.
      if (i + 1 == outcome.hours.size()) continue;
      const auto said = outcome.said.find(hour.end_s);
      if (said == outcome.said.end()) {
        ++tally.silent;
        continue;
      }
      const double error = said->second.margin_db - true_margin(outcome.hours, i);
      ++tally.hours;
      tally.sum += error;
      tally.square += error * error;
      tally.worst = std::max(tally.worst, std::abs(error));
      tally.stderr_square += said->second.stderr_db * said->second.stderr_db;
      tally.honest += std::abs(error) <= 2 * said->second.stderr_db ? 1 : 0;
      if (const double low = said->second.low_db - hour.margin_low_db;
          std::isfinite(low) && hour.frames >= 100) {
        ++tally.lows;
        tally.low_square += low * low;
      }
    }
  }
  return tally;
}

}  // namespace

int run(std::uint64_t first_seed, std::size_t worlds, std::string_view only, bool judged) {
  std::printf("%zu worlds a group, seeds from %llu\n", worlds,
              static_cast<unsigned long long>(first_seed));
  std::printf("%-32s %6s %6s %7s %7s %7s %7s %7s %7s\n", "group", "hours", "none", "rmse", "bias",
              "worst", "stderr", "honest", "low");
  int missed_groups = 0, failed = 0;
  for (const Group& group : groups()) {
    if (!only.empty() && group.name.find(only) == std::string::npos) continue;
    const Tally tally = run_group(group, first_seed, worlds);
    const double n = static_cast<double>(tally.hours);
    const double rmse = std::sqrt(tally.square / n), honest = static_cast<double>(tally.honest) / n;
    const bool missed = (group.target_rmse_db > 0 && !(rmse <= group.target_rmse_db)) ||
                        !(honest >= group.honest_from && honest <= group.honest_to);
    std::printf(
        "%-32s %6zu %6zu %7.3f %7.3f %7.2f %7.3f %7.3f %7.2f%s\n", group.name.c_str(), tally.hours,
        tally.silent, rmse, tally.sum / n, tally.worst, std::sqrt(tally.stderr_square / n), honest,
        std::sqrt(tally.low_square / static_cast<double>(std::max<std::size_t>(1, tally.lows))),
        missed ? "  missed" : "");
    std::fflush(stdout);
    missed_groups += missed ? 1 : 0;
    // A test fails for what is wrong, not for a share that chance moves by a hundredth.
    const bool off = group.target_rmse_db > 0 && !(rmse <= group.target_rmse_db);
    failed += off || honest < group.honest_from - 0.05 ? 1 : 0;
  }
  std::printf("%d groups missed their target, %d by far\n", missed_groups, failed);
  return judged && failed > 0 ? 1 : 0;
}

}  // namespace fadeward::truth

int main(int argc, char** argv) {
  std::uint64_t first_seed = 1;
  std::size_t worlds = 4;
  std::string_view only;
  bool judged = false;
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    const bool more = i + 1 < argc;
    if (word == "--judge")
      judged = true;
    else if (word == "--worlds" && more)
      worlds = std::strtoul(argv[++i], nullptr, 10);
    else if (word == "--seed" && more)
      first_seed = std::strtoull(argv[++i], nullptr, 10);
    else if (word == "--only" && more)
      only = argv[++i];
    else
      return std::fprintf(stderr, "usage: %s [--worlds N] [--seed FIRST] [--only TEXT] [--judge]\n",
                          argv[0]),
             2;
  }
  return fadeward::truth::run(first_seed, worlds, only, judged);
}
