// What a remote-write receiver gets next: live samples, or quarter hours that it has missed.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/time.hpp"

namespace fadeward::publish {

/// How far a receiver has everything; kept on disk. Text of a few lines.
struct WriteCursor {
  struct Gap {
    Time from{};  ///< everything up to here is there
    Time to{};    ///< and from here on again
    bool operator==(const Gap&) const = default;
  };
  std::string target;     ///< whose it is
  Time live{};            ///< newest sample taken; the epoch: none ever
  std::vector<Gap> gaps;  ///< oldest first; of receivers with an out-of-order window only
  bool operator==(const WriteCursor&) const = default;

  std::string text() const;
  /// Empty where it is no such text.
  static std::optional<WriteCursor> parse(std::string_view text);
};

struct WriteRules {
  Duration interval = std::chrono::minutes{1};
  Duration phase{};  ///< shifts the beats, so that gateways do not all speak at once
  bool out_of_order = false;
  Duration max_age = std::chrono::hours{1};  ///< without out_of_order an hour at most
  bool history = false;                      ///< there is one to fill gaps from
};

/// Quarter hours that end in (from, to].
struct WriteBacklog {
  Time from{};
  Time to{};
  bool too_old = false;  ///< the receiver would not take them: count them as dropped
};

/// In order: after an outage the missed quarter hours come first, one by one, and live samples wait
/// until none is missing (specification: samples of a series in order of time). With an
/// out-of-order window live samples go on at once and the backlog follows between them.
///
/// An outage is what lasts longer than five minutes and two intervals: until then a receiver shows
/// the last value anyway. A quarter hour counts as complete three minutes after its end and two
/// minutes after the start of the program. Pure; one thread.
class WritePlan {
 public:
  static constexpr Duration kQuarter = std::chrono::minutes{15};
  static constexpr Duration kShort = std::chrono::minutes{5};
  static constexpr Duration kSettled = std::chrono::minutes{3};
  static constexpr Duration kStarted = std::chrono::minutes{2};
  static constexpr Duration kOldest = std::chrono::hours{1};  ///< without out_of_order
  static constexpr std::size_t kMostGaps = 64;                ///< beyond: the two oldest become one

  WritePlan(WriteRules rules, WriteCursor cursor, Duration steady_start);

  /// Before the questions below. Nothing is due while the clock is not trusted, nor for an hour at
  /// most after it was set back behind what was sent; set back further, it begins anew there.
  void look(Instant now, bool clock_trusted);

  /// A new set of live samples is to be taken.
  bool live_due() const;
  /// Live samples wait for the backlog.
  bool holds_live() const;
  /// At most `moments` quarter hours; always one where order matters. Empty: none, or not yet.
  std::optional<WriteBacklog> backlog(std::size_t moments) const;
  /// What was worth sending has become too old meanwhile: backlog() is to be asked again.
  bool outdated(const WriteBacklog& what) const;
  /// Age of the oldest quarter hour that is missing; zero: none.
  Duration behind() const;

  void live_taken();
  void live_accepted(Time time);
  void backlog_done(const WriteBacklog& done);

  const WriteCursor& cursor() const { return cursor_; }

 private:
  std::int64_t beat() const;
  Duration threshold() const;
  Time oldest() const;
  std::optional<WriteCursor::Gap> gap() const;

  const WriteRules rules_;
  WriteCursor cursor_;
  const Duration start_;
  Instant now_{};
  bool ready_ = false;                 ///< the clock is trusted and ahead of what was sent
  std::optional<std::int64_t> taken_;  ///< beat of the last live set
};

}  // namespace fadeward::publish
