// The alerts of one link or port: which are active, since when, and what they said.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/report.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/judge/event.hpp"
#include "fadeward/judge/snapshot.hpp"

namespace fadeward::judge {

/// What an alert says when it is raised or changes.
struct Finding {
  Severity severity = Severity::warning;
  Cause cause = Cause::none;
  Shape shape = Shape::none;
  std::optional<Time> onset;
  std::optional<double> size_db;
  std::optional<double> confidence;
  std::string text;
};

/// Turns findings into events, once per change. Holds nothing for alerts that never were raised.
class AlertBook {
 public:
  /// Where its alerts belong and where events go; both outlive the book's calls.
  struct Owner {
    LinkIndex link = kNoLink;
    PortIndex port = kNoPort;
    std::vector<Event>* events = nullptr;
  };

  /// Raises the alert, or changes it where severity or cause differ or the finding is a further
  /// change of some size, which began half an hour after the one that was told or later; otherwise
  /// size and text follow without an event.
  void raise(const Owner& owner, AlertName alert, std::optional<Direction> direction, Time now,
             Finding finding);
  /// Ends the alert if it is active.
  void clear(const Owner& owner, AlertName alert, std::optional<Direction> direction, Time now,
             std::string text);
  /// Neither confirmed nor cleared for want of data. No event.
  void mark_stale(AlertName alert, std::optional<Direction> direction, bool stale);
  /// The same for every alert but `except`.
  void mark_all_stale(AlertName except, bool stale);

  bool empty() const { return records_.empty(); }
  bool active(AlertName alert, std::optional<Direction> direction) const;
  std::optional<Severity> severity(AlertName alert, std::optional<Direction> direction) const;
  /// What is named as the cause of an active alert; empty if it is not active.
  std::optional<Cause> cause(AlertName alert, std::optional<Direction> direction) const;
  std::optional<Time> since(AlertName alert, std::optional<Direction> direction) const;

  /// Forgets alerts that ended more than 15 minutes ago.
  void tidy(Time now);
  void shift(Duration step);
  /// Ends everything that is active (the link is gone from the configuration).
  void clear_all(const Owner& owner, Time now, const std::string& text);
  void append_states(const Owner& owner, std::vector<AlertState>& out) const;

  template <class A>
  void archive(A& a) {
    a(records_);
  }

 private:
  struct Record {
    AlertName alert = AlertName::MarginLow;
    std::optional<Direction> direction;
    bool active = false;
    bool stale = false;
    Severity severity = Severity::none;
    Cause cause = Cause::none;
    Shape shape = Shape::none;
    Time since{};
    std::optional<Time> ended;
    std::optional<Time> onset;
    std::optional<double> size_db;
    std::optional<double> confidence;
    std::string text;

    template <class A>
    void archive(A& a) {
      a(alert, direction, active, stale, severity, cause, shape, since, ended, onset, size_db,
        confidence, text);
    }
  };
  Record* find(AlertName alert, std::optional<Direction> direction);
  const Record* find(AlertName alert, std::optional<Direction> direction) const;
  static void emit(const Owner& owner, const Record& record, Change change, Time now);

  std::vector<Record> records_;
};

}  // namespace fadeward::judge
