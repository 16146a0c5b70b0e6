// One port under judgement: is it open, what was thrown away, what could not be read.
#pragma once

#include <string>

#include "fadeward/base/port_event.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/judge/alert_book.hpp"
#include "fadeward/judge/link_judge.hpp"
#include "fadeward/judge/snapshot.hpp"

namespace fadeward::judge {

class PortJudge {
 public:
  PortJudge(const PortSettings& settings, Time start);
  void reconfigure(const PortSettings& settings);

  /// True if what the port's links missed is unknown from now on (closed, bytes discarded).
  bool note(const PortEvent& event, Time now, const AlertBook::Owner& owner);
  void note_unmatched(std::string_view name);
  void note_retimed() { ++told_.retimed; }
  /// A report was read: the port works.
  void note_report(Time now);
  void judge(Time now, const AlertBook::Owner& owner);
  void shift(Duration step);

  PortView view() const;
  PortSnapshot describe() const { return told_; }
  const std::string& name() const { return settings_.name; }
  AlertBook& alerts() { return alerts_; }
  const AlertBook& alerts() const { return alerts_; }

  template <class A>
  void archive(A& a) {
    // Counters go on as those of links do; what the port is now is seen when it opens.
    a(alerts_, told_.discarded_bytes, told_.rejected, told_.unmatched, told_.values_discarded,
      told_.unknown_keys, told_.retimed, told_.faults);
  }

 private:
  void open(const PortEvent& event, Time now, const AlertBook::Owner& owner);

  PortSettings settings_;
  PortSnapshot told_;
  AlertBook alerts_;
  bool ended_ = false;  ///< a file that was read to its end is no fault
  bool ever_open_ = false;
  Time down_since_{};
  std::optional<Time> last_report_;
  std::uint64_t unread_since_report_ = 0;     ///< frames not read since the last report
  std::uint64_t discarded_since_report_ = 0;  ///< bytes
};

}  // namespace fadeward::judge
