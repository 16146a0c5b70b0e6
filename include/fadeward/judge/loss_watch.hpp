// Looks for losses that the level does not explain: collisions.
#pragma once

#include <cstdint>
#include <optional>

#include "fadeward/base/time.hpp"

namespace fadeward::judge {

/// Sequential test (CUSUM of the log-likelihood of Bernoulli losses) against what is usual on this
/// direction, for small and for large excesses at once; a single block counts only so much, so that
/// one interruption is not taken for traffic.
class LossWatch {
 public:
  /// Frames of one block. `by_level`: the share that may be lost to a low level, as the margin
  /// says, rather too much than too little. Returns true if `told` or `ratio` changed.
  bool add(std::uint32_t heard, std::uint32_t lost, double by_level, Time at, bool learn);
  /// Forgets what has been gathered against the usual; what was told stays.
  void settle() { small_ = large_ = 0; }
  void shift(Duration step);
  /// Nothing was seen for so long: what was told has lasted no longer by that.
  void postpone_acceptance(Duration by) { told_at_ += by; }

  bool told() const { return told_; }
  /// The last block was the one with which what was told became the usual: it has lasted three
  /// weeks without growing.
  bool accepted() const { return accepted_now_; }
  std::optional<Time> onset() const { return told_ ? std::optional(onset_) : std::nullopt; }
  /// Losses of late, 0..1: of some two hours, but of nothing before the onset once it is told.
  double ratio() const { return ratio_; }
  /// 0..1. Empty before enough frames were seen to say what is usual.
  std::optional<double> usual() const {
    return known_ >= kUsualKnown ? std::optional(usual_) : std::nullopt;
  }

  template <class A>
  void archive(A& a) {
    a(usual_, known_, small_, large_, small_run_, large_run_, small_since_, large_since_, told_,
      onset_, ratio_, frames_, quiet_, told_at_, since_told_, accepted_);
  }

 private:
  static constexpr double kUsualKnown = 2500;  // frames
  double usual_ = 0.004;                       ///< before anything was learned
  double known_ = 300;                         ///< frames that it rests on
  double small_ = 0, large_ = 0;
  struct Run {  // since a sum was 0 last
    double frames = 0, lost = 0;
    template <class A>
    void archive(A& a) {
      a(frames, lost);
    }
  };
  void accept();

  Run small_run_, large_run_;
  Run since_told_;
  Time told_at_{};
  double accepted_ = 0;  ///< the part of the usual that once was told
  bool accepted_now_ = false;
  Time small_since_{}, large_since_{};
  bool told_ = false;
  Time onset_{};
  double ratio_ = 0;
  double frames_ = 0;        ///< that ratio_ rests on; fades
  std::uint32_t quiet_ = 0;  ///< blocks in a row without excess, once told
};

}  // namespace fadeward::judge
