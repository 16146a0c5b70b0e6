#include "fadeward/judge/link_judge.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/text.hpp"
#include "fadeward/budget/link_budget.hpp"
#include "fadeward/judge/words.hpp"

namespace fadeward::judge {

namespace {

using estimate::RollingCounts;
constexpr Duration kLogEntryLasts = std::chrono::minutes{15};
constexpr double kFarAboveDb = 6;
constexpr std::uint8_t kClearDays =
    5;  // without a crossing in sight, before a forecast is taken back
constexpr std::uint64_t kFewestForBudget = 30;    // frames, before the budget is held against them
constexpr std::uint32_t kMostSettingChanges = 3;  // a day; more is adaptation, not a change
constexpr std::array<Direction, kDirections> kBoth = {Direction::inbound, Direction::outbound};

std::size_t at(Direction direction) { return static_cast<std::size_t>(direction); }

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 32);
  return text;
}

}  // namespace

LinkJudge::LinkJudge(const LinkSettings& settings, bool keep_intervals, Time start)
    : state_(settings, keep_intervals), settings_(settings), started_(start) {
  reconfigure(settings);
}

void LinkJudge::reconfigure(const LinkSettings& settings) {
  if (settings.radio.max_power_dbm != settings_.radio.max_power_dbm ||
      settings.radio.slowest != settings_.radio.slowest)
    for (Reserve& reserve : reserves_) reserve.forget();
  settings_ = settings;
  state_.reconfigure(settings);
  suspicions_.set_moving(settings.moving);
  suspicions_.set_relayed(!settings.via.empty());
  if (settings.rules.set.empty() && !settings.rules.hop_clock_s)
    rules_.reset();
  else if (rules_)
    rules_->reconfigure(settings);
  else
    rules_ = std::make_unique<RuleWatch>(settings);
  const budget::LinkBudget budget = budget::compute(settings);
  for (const Direction d : kBoth) budget_margin_db_[at(d)] = budget.direction(d).margin_db.value;
}

bool LinkJudge::in_upkeep(Time now) const {
  return std::ranges::any_of(settings_.upkeep, [&](const UpkeepPeriod& period) {
    return now >= period.from && now < period.to;
  });
}

bool LinkJudge::up(Time now) const {
  const auto last = state_.last_report();
  return last && now - *last <= state_.silent_after();
}

void LinkJudge::shift(Duration step) {
  state_.shift(step);
  suspicions_.shift(step);
  if (silent_until_) *silent_until_ += step;
  alerts_.shift(step);
  for (const Direction d : kBoth) {
    margin_[at(d)].shift(step);
    deficit_[at(d)].shift(step);
    loss_[at(d)].shift(step);
    reserves_[at(d)].shift(step);
  }
  retries_.shift(step);
  latency_.shift(step);
  foreign_.shift(step);
  started_ += step;
  for (Outlook& outlook : outlooks_) outlook.shift(step);
  if (day_ != INT64_MIN) {
    const double days = duration_to_seconds(step) / 86400;
    day_ += static_cast<std::int64_t>(std::lround(days));
  }
  setting_changes_since_ += step;
  if (rules_) rules_->shift(step);
}

// ---- reports -------------------------------------------------------------------------------

void LinkJudge::take(const LinkReport& report, Time at, Time now, const AlertBook::Owner& owner) {
  const auto repeats = state_.repeats;
  if (const auto heard = state_.last_report();
      heard && at - *heard > std::chrono::minutes{15} && at - *heard > state_.silent_after())
    silent_until_ = now;
  const link::Noticed noticed = state_.take(report, at);
  if (settings_.radio.max_power_dbm || settings_.radio.slowest.said()) note_reserves(at);
  if (rules_ && state_.repeats == repeats) rules_->take(report, at);
  if (noticed.restarted != link::Noticed::End::none) note_restart(noticed, now, owner);
  if (noticed.setting) note_setting(noticed, now, owner);
  if (!silent_) return;
  silent_ = false;
  alerts_.clear(owner, AlertName::LinkSilent, {}, now, "Reports arrive again.");
}

void LinkJudge::note_restart(const link::Noticed& noticed, Time now,
                             const AlertBook::Owner& owner) {
  using End = link::Noticed::End;
  const std::string_view which = noticed.restarted == End::near  ? "The radio of the near end"
                                 : noticed.restarted == End::far ? "The radio of the far end"
                                                                 : "A radio of this link";
  std::string text{which};
  text += " restarted: its counters began again";
  if (state_.uptime_s) text += ", up for " + in_words(seconds_to_duration(*state_.uptime_s));
  if (state_.restarts > 1) text += " (restart " + std::to_string(state_.restarts) + " seen here)";
  text += ".";
  Finding found;
  found.severity = Severity::info;
  found.cause = Cause::restart;
  found.onset = now;
  found.text = std::move(text);
  alerts_.raise(owner, AlertName::RadioRestarted, {}, now, std::move(found));
}

void LinkJudge::note_setting(const link::Noticed& noticed, Time now,
                             const AlertBook::Owner& owner) {
  if (now - setting_changes_since_ > std::chrono::hours{24}) {
    setting_changes_since_ = now;
    setting_changes_ = 0;
  }
  if (++setting_changes_ > kMostSettingChanges) return;
  suspicions_.settle();
  Finding found;
  found.severity = Severity::info;
  found.onset = now;
  found.text = "Setting " + std::string(field_info(*noticed.setting).name) + " changed from " +
               rounded_text(noticed.change.from, 3) + " to " + rounded_text(noticed.change.to, 3) +
               ".";
  alerts_.raise(owner, AlertName::SettingChanged, {}, now, std::move(found));
}

/// Logbook entries are no alarms: they end by themselves, so that a scrape has seen them.
void LinkJudge::end_log_entries(Time now, const AlertBook::Owner& owner) {
  for (const AlertName entry : {AlertName::RadioRestarted, AlertName::SettingChanged}) {
    const auto since = alerts_.since(entry, {});
    if (since && now - *since >= kLogEntryLasts)
      alerts_.clear(owner, entry, {}, now, "Logged; nothing to do.");
  }
}

// ---- judgement -----------------------------------------------------------------------------

void LinkJudge::watch(Time now) {
  state_.tick(now);
  suspicions_.watch(now, state_, !in_upkeep(now));
}

void LinkJudge::judge(Time now, const PortView& port, const AlertBook::Owner& owner) {
  if (!alerts_.empty()) {
    alerts_.tidy(now);
    end_log_entries(now, owner);
  }
  judged_ = false;
  const bool upkeep = in_upkeep(now);
  for (const Direction d : kBoth) {
    state_.direction(d).upkeep = upkeep;
    if (upkeep) state_.direction(d).bin.upkeep = true;
  }
  if (upkeep) {
    was_in_upkeep_ = true;
    return;
  }
  if (was_in_upkeep_) {
    was_in_upkeep_ = false;
    suspicions_.settle();
    for (const Direction d : kBoth)
      for (Threshold* threshold : {&margin_[at(d)], &deficit_[at(d)], &loss_[at(d)]})
        threshold->restart_timers();
    for (Threshold* threshold : {&retries_, &latency_, &foreign_}) threshold->restart_timers();
  }
  judge_silence(now, port, owner);
  const bool is_up = up(now);
  if (!alerts_.empty()) alerts_.mark_all_stale(AlertName::LinkSilent, !is_up);
  if (!is_up) return;  // absence of data neither raises nor clears anything else
  judged_ = true;
  take_baseline(now, owner);
  for (const Direction d : kBoth) judge_direction(d, now, owner);
  judge_whole(now, owner);
  if (rules_) judge_rules(now, owner);
}

void LinkJudge::judge_rules(Time now, const AlertBook::Owner& owner) {
  const auto say = [&](AlertName alert, std::optional<Direction> direction,
                       std::optional<RuleWatch::Verdict> verdict) {
    if (!verdict) return;
    if (!verdict->broken) {
      alerts_.clear(owner, alert, direction, now, std::move(verdict->text));
      return;
    }
    Finding found;
    found.severity = Severity::warning;
    found.text = std::move(verdict->text);
    alerts_.raise(owner, alert, direction, now, std::move(found));
  };
  say(AlertName::HopUneven, {}, rules_->hopping());
  say(AlertName::DwellExceeded, {}, rules_->dwell(now));
  for (const Direction d : kBoth) say(AlertName::DutyExceeded, d, rules_->duty(d, now));
}

void LinkJudge::tell(Time now, const Company& company, const AlertBook::Owner& owner) {
  if (!judged_) return;
  suspicions_.tell(now, alerts_, owner, company);
  judge_day(now, owner);
}

void LinkJudge::judge_silence(Time now, const PortView& port, const AlertBook::Owner& owner) {
  if (silent_ || up(now)) return;
  if (!port.open) return;  // PortFault says it for all its links
  const Time heard = state_.last_report().value_or(started_);
  const Time since = std::max(heard, port.open_since.value_or(heard));
  const Duration silence = now - since;
  if (silence <= state_.silent_after()) return;
  Finding found;
  found.severity = Severity::critical;
  found.cause = Cause::silent;
  found.onset = since;
  found.text = state_.last_report() ? "No report for " + in_words(now - *state_.last_report())
                                    : "No report since the start, " + in_words(silence) + " ago";
  if (const auto usual = state_.expect()) found.text += ", usually one every " + in_words(*usual);
  if (!port.trouble.empty()) found.text += "; " + port.trouble;
  found.text += ".";
  alerts_.raise(owner, AlertName::LinkSilent, {}, now, std::move(found));
  silent_ = true;
}

bool LinkJudge::fresh(Direction d, Time now) const {
  const link::FrameWindow& window = state_.direction(d).window;
  return !window.empty() && now - window.newest() <= state_.silent_after();
}

/// What is suspected already explains what a threshold notices; else the levels of the last half
/// hour are weighed against the usual ones.
LinkJudge::Verdict LinkJudge::verdict(Direction d) const {
  constexpr double kLeastDb = 1.5,
                   kLeastGain = 2;  // two standard deviations: something has changed
  const Cause told = suspicions_.cause_of(d);
  if (told != Cause::none) return {told, suspicions_.size_db_of(d)};
  const auto found = explain(suspicions_.changes().off_usual_now());
  if (!found || found->size_db < kLeastDb || found->gain < kLeastGain) return {};
  const auto concerns = direction_of(found->cause);
  if (concerns && *concerns != d) return {};
  return {found->cause, found->size_db};
}

/// Losses that the level of now does not explain have another reason than what has changed in it.
LinkJudge::Verdict LinkJudge::verdict_on_losses(Direction d, Time now) {
  constexpr double kUnexplained = 0.05;
  if (silent_ || (silent_until_ && now - *silent_until_ < std::chrono::hours{1}))
    return {Cause::silent};
  const Cause told = suspicions_.cause_of(d);
  const auto loss = state_.loss(d, RollingCounts::Window::hour, now);
  const bool counted = loss && loss->source != LossSource::retries;
  const auto margin = told == Cause::none && counted ? state_.margin(d, now) : std::nullopt;
  if (margin && loss->ratio - margin->too_weak > kUnexplained && loss->ratio > 2 * margin->too_weak)
    return {Cause::collisions};
  return verdict(d);
}

std::string LinkJudge::likely(const Verdict& verdict) const {
  if (verdict.cause == Cause::none) return "";
  return " Likely: " + std::string(meaning_of(verdict.cause)) + ".";
}

/// Where one direction alone is followed, the other's usual level is not known.
std::optional<double> LinkJudge::signal_change_db(const Changes& off, Direction d) const {
  if (!off.has(Stream::common)) return {};
  if (off.one_way) return off.way == d ? std::optional(off.db(Stream::common)) : std::nullopt;
  if (!off.has(Stream::difference)) return {};
  const double half = off.db(Stream::difference) / 2;
  return off.db(Stream::common) + (d == Direction::inbound ? half : -half);
}

std::string LinkJudge::levels(Direction d) {
  link::DirectionState& state = state_.direction(d);
  const Changes off = suspicions_.changes().off_usual_now();
  const Stream noise = d == Direction::inbound ? Stream::near_noise : Stream::far_noise;
  const std::string words = levels_in_words(
      state.window.signal_median_dbm(), signal_change_db(off, d), state.window.noise_median_dbm(),
      off.has(noise) ? std::optional(off.db(noise)) : std::nullopt);
  return words.empty() ? "." : ": " + words + ".";
}

Finding LinkJudge::finding(Severity severity, const Verdict& verdict, std::optional<Time> onset,
                           std::string text) const {
  Finding found;
  found.severity = severity;
  found.cause = verdict.cause;
  found.size_db = verdict.size_db;
  found.onset = onset;
  found.text = std::move(text);
  return found;
}

void LinkJudge::judge_direction(Direction d, Time now, const AlertBook::Owner& owner) {
  if (fresh(d, now)) judge_margin(d, now, owner);
  judge_loss(d, now, owner);
}

void LinkJudge::judge_margin(Direction d, Time now, const AlertBook::Owner& owner) {
  const ThresholdSettings& low = settings_.alerts.margin_db;
  auto margin = state_.received_margin_db(d, now);
  if (!margin) return;
  // Lost frames are worth a fit where they could bring the margin near a threshold: of few losses
  // each hundredth moves the median by less than a tenth of a decibel.
  const link::FrameWindow& window = state_.direction(d).window;
  const bool far_above = *margin > low.warning.value_or(0) + low.clear_by + kFarAboveDb &&
                         window.lost() * 4 < window.frames();
  if (!far_above) margin = state_.margin_median_db(d, now);
  if (!margin) return;
  const Severity before = margin_[at(d)].severity();
  const auto unused = unused_db(d, now);
  const Severity severity =
      margin_[at(d)].update(*margin + unused.value_or(0), low, Worse::below, now);
  if (severity != before) {
    const std::string direction = capital(std::string(name_of(d)));
    if (severity == Severity::none) {
      alerts_.clear(owner, AlertName::MarginLow, d, now,
                    direction + " margin is back at " + in_db(*margin + unused.value_or(0)) +
                        with_reserve(unused) + levels(d));
    } else {
      const double limit = *(severity == Severity::critical ? low.critical : low.warning);
      const Verdict verdict = this->verdict(d);
      alerts_.raise(
          owner, AlertName::MarginLow, d, now,
          finding(severity, verdict, margin_[at(d)].onset(),
                  direction + " margin is " + in_db(*margin + unused.value_or(0)) +
                      with_reserve(unused) + ", below the " + std::string(name_of(severity)) +
                      " level of " + in_db(limit) + levels(d) + likely(verdict)));
    }
  }

  judge_deficit(d, *margin, now, owner);
}

/// Once a day, at a minute of the link's own so that many links do not all come at once: the margin
/// of the last 24 hours goes into trend, baseline and forecast.
void LinkJudge::judge_day(Time now, const AlertBook::Owner& owner) {
  const Duration own_minute = std::chrono::minutes{owner.link % 720};
  const auto day =
      std::chrono::floor<std::chrono::days>(now - own_minute).time_since_epoch().count() - 1;
  if (day == day_) return;
  const bool first = day_ == INT64_MIN;
  day_ = day;
  if (first || settings_.moving)
    return;  // less than a day of it was seen; a moving site has no trend
  const ThresholdSettings& limits = settings_.alerts.margin_db;
  const auto threshold = limits.warning ? limits.warning : limits.critical;
  for (const Direction d : kBoth) {
    const auto margin = state_.direction(d).day_margin_db(now);
    // A fault is no season: what it costs is told already and will be mended.
    const bool faulty = alerts_.active(AlertName::EquipmentSuspected, {}) ||
                        alerts_.active(AlertName::EquipmentSuspected, d);
    if (!margin || faulty) continue;
    Outlook& outlook = outlooks_[at(d)];
    const auto unused = reserves_[at(d)].median_db(now - std::chrono::hours{24}, now);
    outlook.add_day(day, *margin + unused.value_or(0), settings_.baseline);
    outlook.judge(threshold);
    const auto& crossing = outlook.crossing();
    if (!crossing) continue;
    const double horizon_days = duration_to_seconds(settings_.alerts.forecast_horizon) / 86400;
    const bool soon =
        crossing->outlook == Crossing::Outlook::crosses && crossing->days <= horizon_days;
    clear_days_[at(d)] =
        soon ? 0 : static_cast<std::uint8_t>(std::min(250, clear_days_[at(d)] + 1));
    const std::string text = capital(std::string(name_of(d))) + " margin" + with_reserve(unused) +
                             ": " + in_words(*crossing) + ".";
    if (soon) {
      Finding found;
      found.severity = Severity::warning;
      found.cause = suspicions_.cause_of(d);
      found.shape = Shape::drift;
      found.size_db = std::abs(crossing->slope_db_per_day) * crossing->days;
      found.text = text;
      alerts_.raise(owner, AlertName::MarginForecastLow, d, now, std::move(found));
    } else if (clear_days_[at(d)] >= kClearDays) {
      alerts_.clear(owner, AlertName::MarginForecastLow, d, now, text);
    }
  }
}

/// New dates of the baseline are a decision of a person, after work on the mast for instance: once
/// they are over, the present levels are the usual ones, and the logbook says so.
void LinkJudge::take_baseline(Time now, const AlertBook::Owner& owner) {
  const BaselineSettings& baseline = settings_.baseline;
  if (baseline.commissioning || now < baseline.to || baseline_taken_ == baseline.to) return;
  const bool anew = baseline_taken_ != Time{} || suspicions_.changes().knows_usual();
  baseline_taken_ = baseline.to;
  if (!anew) return;  // nothing was known before
  suspicions_.rebaseline();
  for (const Direction d : kBoth) state_.direction(d).channel_levels.accept();
  Finding found;
  found.severity = Severity::info;
  found.onset = now;
  found.text = "Baseline set anew: what is measured now is the usual level (dates " +
               format_rfc3339(baseline.from) + " to " + format_rfc3339(baseline.to) + ").";
  alerts_.raise(owner, AlertName::SettingChanged, {}, now, std::move(found));
}

void LinkJudge::note_reserves(Time at) {
  for (const Direction d : kBoth)
    if (const auto unused = state_.unused_db(d))
      reserves_[static_cast<std::size_t>(d)].note(at, *unused);
}

/// What could be added to the margin of the window, where it is configured.
std::optional<double> LinkJudge::unused_db(Direction d, Time now) const {
  return reserves_[at(d)].gain_db(state_.direction(d).window, now);
}

/// What stands behind a margin that counts it: " with unused power at the slowest rate".
std::string LinkJudge::with_reserve(std::optional<double> unused_db) const {
  if (!unused_db) return "";
  return std::string(settings_.radio.max_power_dbm ? " with the power that is unused" : "") +
         (settings_.radio.slowest.said() ? " at the slowest rate" : "");
}

/// Power or rates that the radio could still use are not missing. The default hold is half a day:
/// the budget speaks of the path, not of hours of rain.
void LinkJudge::judge_deficit(Direction d, double margin_db, Time now,
                              const AlertBook::Owner& owner) {
  if (!budget_margin_db_[at(d)] || state_.direction(d).frames_total < kFewestForBudget) return;
  const auto unused = unused_db(d, now);
  const double deficit =
      *budget_margin_db_[at(d)] - margin_db - unused.value_or(state_.unused_power_db(d));
  const Severity deficit_before = deficit_[at(d)].severity();
  const Severity deficit_now =
      deficit_[at(d)].update(deficit, settings_.alerts.deficit_db, Worse::above, now);
  if (deficit_now == deficit_before) return;
  const std::string compared =
      capital(std::string(name_of(d))) + " margin of " + in_db(margin_db + unused.value_or(0)) +
      with_reserve(unused) + " is " + in_db(std::abs(deficit)) +
      (deficit >= 0 ? " under" : " over") + " the budgeted " + in_db(*budget_margin_db_[at(d)]);
  if (deficit_now == Severity::none) {
    alerts_.clear(owner, AlertName::BudgetDeficit, d, now, compared + ": within what is allowed.");
    return;
  }
  const Verdict verdict = this->verdict(d);
  alerts_.raise(owner, AlertName::BudgetDeficit, d, now,
                finding(deficit_now, verdict, deficit_[at(d)].onset(),
                        compared + levels(d) + likely(verdict)));
}

/// ", the level explains 0.3 %": what is lost beside that has another reason.
std::string LinkJudge::level_explains(const std::optional<link::Margin>& margin) const {
  constexpr double kLeastShown = 0.0005;
  if (!margin) return "";
  return ", the level explains " +
         (margin->too_weak < kLeastShown ? "next to nothing" : in_percent(margin->too_weak));
}

void LinkJudge::judge_loss(Direction d, Time now, const AlertBook::Owner& owner) {
  // One frame of six is no loss of 17 %: where an hour holds few frames, the day is judged.
  constexpr double kFewestFrames = 60;
  Duration window = std::chrono::hours{1};
  auto loss = state_.loss(d, RollingCounts::Window::hour, now);
  if (loss && loss->frames < kFewestFrames) {
    window = std::chrono::hours{24};
    loss = state_.loss(d, RollingCounts::Window::day, now);
  }
  if (!loss || loss->frames < kFewestFrames / 4) return;
  const Severity before = loss_[at(d)].severity();
  const Severity severity =
      loss_[at(d)].update(loss->ratio, settings_.alerts.loss_ratio, Worse::above, now);
  if (severity == before) return;
  const std::string text = capital(std::string(name_of(d))) + " loss is " +
                           in_percent(loss->ratio) + " of transmissions in the last " +
                           in_words(window) + " (from " + std::string(name_of(loss->source)) + ")";
  if (severity == Severity::none) {
    alerts_.clear(owner, AlertName::LossHigh, d, now, text + ".");
    return;
  }
  const auto margin = state_.margin(d, now);
  const bool explained = margin && 2 * margin->too_weak >= loss->ratio;
  const Verdict verdict = verdict_on_losses(d, now);
  const bool silence = verdict.cause == Cause::silent;
  alerts_.raise(owner, AlertName::LossHigh, d, now,
                finding(severity, verdict, loss_[at(d)].onset(),
                        text + (silence ? "" : level_explains(margin)) + levels(d) +
                            (silence ? " They belong to a time when no report came at all."
                                     : likely(verdict)) +
                            (explained && !silence ? " The low margin explains it." : "")));
}

void LinkJudge::judge_whole(Time now, const AlertBook::Owner& owner) {
  struct Judged {
    AlertName alert;
    Threshold& threshold;
    const ThresholdSettings& settings;
    std::optional<double> value;
    std::string (*words)(double value);
  };
  std::optional<double> retries = state_.retry_ratio(Direction::inbound, now);
  if (const auto out = state_.retry_ratio(Direction::outbound, now))
    retries = std::max(*out, retries.value_or(0));
  const Judged judged[] = {
      {AlertName::RetriesHigh, retries_, settings_.alerts.retry_ratio, retries,
       [](double value) { return in_percent(value) + " of the last transmissions were repeats"; }},
      {AlertName::LatencyHigh, latency_, settings_.alerts.latency_s,
       settings_.alerts.latency_s.warning || settings_.alerts.latency_s.critical
           ? state_.latency_s()
           : std::nullopt,
       [](double value) {
         return "Round trip of acknowledged frames takes " + rounded_text(value, 3) + " s";
       }},
      {AlertName::ForeignFrames, foreign_, settings_.alerts.foreign_per_hour,
       state_.foreign_per_hour(now),
       [](double value) {
         return rounded_text(value, 3) +
                " frames of another network or with a wrong key in the last hour";
       }},
  };
  for (const Judged& one : judged) {
    const Severity before = one.threshold.severity();
    const Severity severity = one.threshold.update(one.value, one.settings, Worse::above, now);
    if (severity == before || !one.value) continue;
    std::string text = one.words(*one.value);
    if (severity == Severity::none) {
      alerts_.clear(owner, one.alert, {}, now, text + ".");
      continue;
    }
    Verdict verdict;
    for (const Direction d : kBoth)
      if (one.alert == AlertName::RetriesHigh && verdict.cause == Cause::none)
        verdict = verdict_on_losses(d, now);
    alerts_.raise(owner, one.alert, {}, now,
                  finding(severity, verdict, one.threshold.onset(), text + "." + likely(verdict)));
  }
}

// ---- description ---------------------------------------------------------------------------

namespace {

/// What the window holds of each hop channel.
std::vector<ChannelSnapshot> channels_of(const link::DirectionState& state) {
  struct Sum {
    std::uint32_t samples = 0;
    std::uint32_t frames = 0;
    std::int64_t signal_cdbm = 0;
    std::int64_t noise_cdbm = 0;
  };
  std::array<Sum, link::ChannelShares::kMost> sums{};
  state.window.visit([&sums](const link::FrameSample& sample) {
    if (sample.channel >= sums.size()) return;  // none was reported
    Sum& sum = sums[sample.channel];
    ++sum.samples;
    sum.frames += sample.frames;
    sum.signal_cdbm += sample.signal_cdbm;
    sum.noise_cdbm += sample.noise_cdbm;
  });
  std::vector<ChannelSnapshot> out;
  for (std::size_t i = 0; i < state.channels.size(); ++i) {
    const Sum& sum = sums[i];
    if (sum.samples == 0) continue;
    const double samples = 100.0 * sum.samples;
    ChannelSnapshot& channel = out.emplace_back();
    channel.channel = state.channels.key(static_cast<std::uint8_t>(i));
    channel.frames = sum.frames;
    channel.signal_dbm = static_cast<double>(sum.signal_cdbm) / samples;
    if (state.noise_source != NoiseSource::assumed)
      channel.noise_dbm = static_cast<double>(sum.noise_cdbm) / samples;
  }
  std::ranges::sort(out, {}, &ChannelSnapshot::channel);
  return out;
}

}  // namespace

DirectionSnapshot LinkJudge::describe(Direction d, Time now, Detail detail) {
  DirectionSnapshot out;
  link::DirectionState& state = state_.direction(d);
  out.frames_total = state.frames_total;
  out.frames_lost_total = state.lost_total;
  out.retries_total = state.retries_total;
  out.window = link::FrameWindow::kSpan;
  out.budget_margin_db = budget_margin_db_[at(d)];
  out.trend_db_per_day = outlooks_[at(d)].trend_db_per_day();
  if (const auto& crossing = outlooks_[at(d)].crossing())
    if (crossing->outlook == Crossing::Outlook::crosses) out.days_left = crossing->days;
  out.baseline_margin_db = outlooks_[at(d)].baseline_margin_db();
  const auto& proved = settings_.baseline.proved_margin_db[at(d)];
  const bool proved_stands = proved && !outlooks_[at(d)].baseline_complete(settings_.baseline);
  if (proved_stands) out.baseline_margin_db = proved;
  out.has_reserve = settings_.radio.slowest.said() ||
                    (settings_.radio.max_power_dbm && state.power_dbm.has_value());
  state.window.expire(now);
  static constexpr std::array<RollingCounts::Window, 3> windows = {
      RollingCounts::Window::five_minutes, RollingCounts::Window::hour, RollingCounts::Window::day};
  static constexpr std::array<Duration, 3> spans = {std::chrono::minutes{5}, std::chrono::hours{1},
                                                    std::chrono::hours{24}};
  for (std::size_t i = 0; i < windows.size(); ++i) out.rolling[i].window = spans[i];
  if (!state_.last_report()) return out;
  if (const auto loss = state_.loss(d, RollingCounts::Window::hour, now)) {
    out.loss_ratio = loss->ratio;
    out.loss_source = loss->source;
  }
  for (std::size_t i = 0; detail != Detail::window && i < windows.size(); ++i)
    if (const auto loss = state_.loss(d, windows[i], now)) out.rolling[i].loss_ratio = loss->ratio;
  out.retry_ratio = state_.retry_ratio(d, now);
  out.tx_power_dbm = state_.power_dbm(d);
  if (state.window.empty()) return out;
  out.reports = state.window.frames();
  out.window = state.window.span(now);
  // Where the window had to grow, the losses are those of the same frames.
  const bool counted =
      state.loss_source == LossSource::seq || state.loss_source == LossSource::counters;
  if (out.window > link::FrameWindow::kSpan && counted) {
    out.loss_source = state.loss_source;
    out.loss_ratio = static_cast<double>(state.window.lost()) /
                     (static_cast<double>(state.window.lost()) + state.window.frames());
  }
  out.signal_dbm = state.window.signal_median_dbm();
  out.noise_dbm = state.window.noise_median_dbm();
  out.noise_source = state.noise_source;
  if (const auto margin = state_.margin(d, now)) {
    out.margin_db = margin->median_db;
    out.margin_stderr_db = margin->stderr_db;
    out.margin_low_db = margin->low_db;
    out.rolling[1].margin_db = margin->median_db;
    out.expected_loss_ratio = margin->too_weak;
    if (const auto unused = unused_db(d, now)) out.reserve_db = margin->median_db + *unused;
    if (proved_stands)
      out.baseline_deficit_db = *proved - margin->median_db;
    else if (out.baseline_margin_db)  // of days that counted the reserve as well
      out.baseline_deficit_db =
          *out.baseline_margin_db - out.reserve_db.value_or(margin->median_db);
    if (out.budget_margin_db) out.deficit_db = *out.budget_margin_db - margin->median_db;
  }
  if (detail == Detail::channels) out.channels = channels_of(state);
  if (detail != Detail::window) {
    out.rolling[0].margin_db = state.window.recent_margin_db(now, spans[0]);
    out.rician_k_db = state.rician_k_db();
    out.rolling[2].margin_db = state.day_margin_db(now);
  }
  if (alerts_.empty()) return out;
  out.cause = suspicions_.cause_of(d);
  if (out.cause != Cause::none) return out;
  // The cause of the gravest alert that speaks about this direction.
  Severity gravest = Severity::none;
  std::vector<AlertState> states;
  alerts_.append_states({}, states);
  for (const AlertState& alert : states) {
    if (!alert.active || alert.cause == Cause::none || alert.severity <= gravest) continue;
    if (alert.direction && *alert.direction != d) continue;
    if (alert.severity == Severity::info) continue;
    gravest = alert.severity;
    out.cause = alert.cause;
  }
  return out;
}

LinkSnapshot LinkJudge::describe(Time now, Detail detail) {
  LinkSnapshot out;
  out.name = settings_.name;
  out.port = bound_port;
  out.up = up(now);
  out.reports_total = state_.reports;
  out.repeats_total = state_.repeats;
  out.late_total = state_.late;
  out.restarts_total = state_.restarts;
  out.foreign_total = state_.foreign;
  out.last_report = state_.last_report();
  out.expect = state_.expect();
  out.latency_s = state_.latency_s();
  out.supply_v = state_.supply_v;
  out.temperature_c = state_.temperature_c;
  out.uptime_s = state_.uptime_s;
  out.spreading_factor = state_.spreading_factor();
  out.bandwidth_hz = state_.bandwidth_hz();
  out.upkeep = in_upkeep(now);
  out.margin_warning_db = settings_.alerts.margin_db.warning;
  out.margin_critical_db = settings_.alerts.margin_db.critical;
  for (const Direction d : kBoth) out.directions[at(d)] = describe(d, now, detail);
  return out;
}

}  // namespace fadeward::judge
