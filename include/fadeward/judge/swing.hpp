// Daily swings that grow beyond the usual rhythm.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "fadeward/base/terms.hpp"
#include "fadeward/estimate/daily_rhythm.hpp"
#include "fadeward/judge/hour_book.hpp"

namespace fadeward::judge {

struct Swing {
  Cause cause = Cause::none;
  double amplitude_db = 0;  ///< over three days, the newest counting most
  double newest_db = 0;     ///< of the newest day
  bool grown = false;       ///< beyond what is usual on this link
};

/// Looks at the signal and at both noises. Asked once an hour; learns by that how large swings
/// beside the rhythm usually are.
class SwingWatch {
 public:
  static constexpr std::size_t kLooked = 3;
  using Rhythms = std::array<estimate::DailyRhythm, kStreams>;
  /// Empty where fewer than 22 hours of each of the last three days are known. Nothing has grown
  /// before five days. `hours_taught`: that the rhythms rest on.
  std::array<std::optional<Swing>, kLooked> look(const HourBook& hours, const Rhythms& rhythms,
                                                 std::uint32_t hours_taught);

  template <class A>
  void archive(A& a) {
    a(usual_square_);
  }

 private:
  std::array<double, kLooked> usual_square_ = {0.42, 0.18, 0.18};  ///< of a day's swing
};

}  // namespace fadeward::judge
