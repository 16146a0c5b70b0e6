// One link under judgement: its state, its thresholds, its alerts.
#pragma once

#include <array>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/judge/alert_book.hpp"
#include "fadeward/judge/outlook.hpp"
#include "fadeward/judge/reserve.hpp"
#include "fadeward/judge/rule_watch.hpp"
#include "fadeward/judge/snapshot.hpp"
#include "fadeward/judge/suspicions.hpp"
#include "fadeward/judge/threshold.hpp"
#include "fadeward/link/link_state.hpp"

namespace fadeward::judge {

/// What the link needs to know of its port when it is judged.
struct PortView {
  bool open = true;                ///< or unknown (a recording)
  std::optional<Time> open_since;  ///< silence counts from here at the earliest
  std::string trouble;             ///< in words, for a silent link: "12 lines not read", or empty
};

class LinkJudge {
 public:
  LinkJudge(const LinkSettings& settings, bool keep_intervals, Time start);
  void reconfigure(const LinkSettings& settings);

  void take(const LinkReport& report, Time at, Time now, const AlertBook::Owner& owner);
  /// Once a minute, for all links of a port before any of them is judged.
  void watch(Time now);
  /// Once a minute, after `watch`: what the link says by itself.
  void judge(Time now, const PortView& port, const AlertBook::Owner& owner);
  /// After that, once all links of the port have been watched: what is suspected, and the day.
  void tell(Time now, const Company& company, const AlertBook::Owner& owner);
  void shift(Duration step);

  /// Not const: closing what has become too old is part of reading.
  /// window: without the rolling windows; channels: with the hop channels.
  enum class Detail : std::uint8_t { window, all, channels };
  DirectionSnapshot describe(Direction direction, Time now, Detail detail = Detail::all);
  LinkSnapshot describe(Time now, Detail detail = Detail::all);
  /// Reported within its silent time.
  bool up(Time now) const;
  bool in_upkeep(Time now) const;

  const std::string& name() const { return settings_.name; }
  const LinkSettings& settings() const { return settings_; }
  link::LinkState& state() { return state_; }
  [[gnu::always_inline]] void prefetch_head(double channel) const {
    __builtin_prefetch(&bound_port);
    state_.prefetch_head(channel);
  }
  [[gnu::always_inline]] void prefetch() const { state_.prefetch(); }
  const Suspicions& suspicions() const { return suspicions_; }
  AlertBook& alerts() { return alerts_; }
  const AlertBook& alerts() const { return alerts_; }

  /// The first port that reported it, for links that are not bound to one by configuration.
  PortIndex bound_port = kNoPort;

 private:
  bool silent_ = false;               ///< LinkSilent is raised
  std::optional<Time> silent_until_;  ///< end of the last silence; forgotten over a restart
  link::LinkState state_;

 public:
  template <class A>
  void archive(A& a) {
    a(state_, alerts_, margin_[0], margin_[1], deficit_[0], deficit_[1], loss_[0], loss_[1],
      retries_, latency_, foreign_, started_, setting_changes_, setting_changes_since_, suspicions_,
      outlooks_[0], outlooks_[1], day_, clear_days_, baseline_taken_, was_in_upkeep_, reserves_[0],
      reserves_[1]);
    if constexpr (A::kReading) silent_ = alerts_.active(AlertName::LinkSilent, {});
  }

 private:
  void note_restart(const link::Noticed& noticed, Time now, const AlertBook::Owner& owner);
  void note_setting(const link::Noticed& noticed, Time now, const AlertBook::Owner& owner);
  void end_log_entries(Time now, const AlertBook::Owner& owner);
  void judge_silence(Time now, const PortView& port, const AlertBook::Owner& owner);
  void judge_direction(Direction direction, Time now, const AlertBook::Owner& owner);
  void judge_margin(Direction direction, Time now, const AlertBook::Owner& owner);
  void judge_day(Time now, const AlertBook::Owner& owner);
  void judge_deficit(Direction direction, double margin_db, Time now,
                     const AlertBook::Owner& owner);
  void judge_loss(Direction direction, Time now, const AlertBook::Owner& owner);
  void judge_whole(Time now, const AlertBook::Owner& owner);
  void judge_rules(Time now, const AlertBook::Owner& owner);
  void take_baseline(Time now, const AlertBook::Owner& owner);
  void note_reserves(Time at);
  std::optional<double> unused_db(Direction direction, Time now) const;
  std::string with_reserve(std::optional<double> unused_db) const;
  bool fresh(Direction direction, Time now) const;
  struct Verdict {
    Cause cause = Cause::none;
    std::optional<double> size_db = {};  ///< of the change that decided, positive
  };
  Verdict verdict(Direction direction) const;
  Verdict verdict_on_losses(Direction direction, Time now);
  Finding finding(Severity severity, const Verdict& verdict, std::optional<Time> onset,
                  std::string text) const;
  std::string likely(const Verdict& verdict) const;
  std::string levels(Direction direction);
  std::string level_explains(const std::optional<link::Margin>& margin) const;
  std::optional<double> signal_change_db(const Changes& off, Direction direction) const;

  LinkSettings settings_;
  Suspicions suspicions_;
  AlertBook alerts_;
  std::array<std::optional<double>, kDirections> budget_margin_db_;
  std::array<Outlook, kDirections> outlooks_;
  std::array<Reserve, kDirections> reserves_;
  std::unique_ptr<RuleWatch> rules_;  ///< null without a rule set or a limit of hop clocks
  std::array<Threshold, kDirections> margin_;
  std::array<Threshold, kDirections> deficit_;
  std::array<Threshold, kDirections> loss_;
  Threshold retries_;
  Threshold latency_;
  Threshold foreign_;
  Time started_{};
  Time baseline_taken_{};                               ///< end of the dates that were taken last
  std::int64_t day_ = INT64_MIN;                        ///< the last one taken into the outlooks
  std::array<std::uint8_t, kDirections> clear_days_{};  ///< in a row without a crossing in sight
  bool was_in_upkeep_ = false;
  bool judged_ = false;  ///< by `judge` in the minute under way: neither in upkeep nor silent
  std::uint32_t setting_changes_ = 0;  ///< in the day since setting_changes_since_
  Time setting_changes_since_{};
};

}  // namespace fadeward::judge
