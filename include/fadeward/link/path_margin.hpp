// The fade margin of both directions of a path, lost frames accounted for.
#pragma once

#include <array>
#include <optional>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/link/direction.hpp"
#include "fadeward/link/reciprocal.hpp"

namespace fadeward::link {

struct Margin {
  double median_db = 0;
  double low_db = 0;     ///< exceeded by 99 % of frames
  double stderr_db = 0;  ///< of the median; statistical, without the receiver's calibration
  /// Share of the frames sent, 0..1, that was too weak: what the levels explain of the losses.
  double too_weak = 0;
};

/// Questions about the windows of both directions: where enough was lost that the survivors no
/// longer tell the middle, a fit of them answers, and where one direction does not know its losses,
/// the other one helps. Made for a moment; refers to what it was made from.
class PathMargin {
 public:
  using Directions = std::array<DirectionState, kDirections>;
  PathMargin(Directions& directions, Reciprocal& reciprocal)
      : directions_(directions), reciprocal_(reciprocal) {}

  /// Over FrameWindow's window. Empty: nothing measured in it.
  std::optional<Margin> margin(Direction d, Time now);
  /// The median alone, as cheap as it gets: not smoothed, and where it takes a fit, one that is up
  /// to five minutes old.
  std::optional<double> median_db(Direction d, Time now);
  /// Median of the frames received, lost ones left out: never below median_db by more than its
  /// error. Costs nothing. Empty while the window is empty.
  std::optional<double> received_db(Direction d, Time now);

  /// How wide the levels spread, how many are lost whatever their level, and by what the two
  /// directions differ. To be called once an hour; looks where frames are lost, and less often
  /// where little can be learned. `hour`: a whole one; `last_report`: of the link.
  void learn(Time hour, Time last_report);

 private:
  DirectionState& direction(Direction d) const { return directions_[static_cast<std::size_t>(d)]; }
  bool counts_losses(Direction d) const;
  bool losses_follow_level(Direction d) const;
  bool needs_fit(Direction d) const;
  std::optional<double> dead_share(Direction d) const;
  double share_too_weak(Direction d, double median_db) const;
  FitQuestion own_question(Direction d) const;
  FitQuestion question(Direction d, std::optional<Time> now) const;
  double path_offset_db(Direction d) const;
  double reading_sd_db(Direction d) const;
  std::optional<double> learn_from(Direction d, Time last_report, bool rest, double& variance);

  Directions& directions_;
  Reciprocal& reciprocal_;
};

}  // namespace fadeward::link
