// A threshold that waits before it speaks and before it falls silent.
#pragma once

#include <array>
#include <optional>

#include "fadeward/base/settings.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::judge {

enum class Worse : std::uint8_t { below, above };  ///< which side of the threshold is bad

/// Warning and critical are two switches of their own. Each goes on once the value has been beyond
/// its level for `hold`, and off once it has been back beyond it by `clear_by` for `hold`; between
/// the two nothing happens. So neither a value that trembles at the level nor one that falls
/// through both levels slowly makes the severity flap.
class Threshold {
 public:
  /// Takes the value at `now`; an empty one changes nothing and keeps the timers where they are.
  /// Returns the severity now in force.
  Severity update(std::optional<double> value, const ThresholdSettings& settings, Worse worse,
                  Time now);
  Severity severity() const;
  /// Since when the value has been beyond the level now in force (its onset).
  std::optional<Time> onset() const;
  /// Forgets running timers, keeps what is in force (upkeep has ended, settings changed).
  void restart_timers();
  void shift(Duration step);

  template <class A>
  void archive(A& a) {
    a(levels_[0], levels_[1]);
  }

 private:
  struct Level {
    bool on = false;
    std::optional<Time> turning_since;  ///< the condition to turn has held since
    std::optional<Time> onset;
    template <class A>
    void archive(A& a) {
      a(on, turning_since, onset);
    }
  };
  static void step(Level& level, std::optional<double> limit, double value,
                   const ThresholdSettings& settings, Worse worse, Time now);
  std::array<Level, 2> levels_;  ///< warning, critical
};

}  // namespace fadeward::judge
