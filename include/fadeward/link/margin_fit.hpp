// The margin of one direction where frames are lost: what is learned over hours, and the fit kept
// for the minutes until it is worth another.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "fadeward/base/time.hpp"
#include "fadeward/estimate/survivor_fit.hpp"
#include "fadeward/link/frame_window.hpp"

namespace fadeward::link {

class MarginFit;

/// How a window is to be read.
struct FitQuestion {
  bool counted = true;  ///< the window's lost frames are known
  bool weighted =
      false;  ///< the samples' weights correct for how they were chosen (else: all alike)
  double median_db = 0;  ///< what the other direction says about it, with its precision
  double median_precision = 0;
  double reading_sd_db = 0.9;        ///< error of one margin
  const MarginFit* other = nullptr;  ///< of the other direction, where this one has learned nothing
};

class MarginFit {
 public:
  using Fit = estimate::SurvivorFit;

  /// A fresh fit. Empty while the window is.
  std::optional<Fit> fit(const FrameWindow& window, const FitQuestion& question) const;
  /// The last one by this call while it is at most five minutes old, else a fresh one.
  std::optional<Fit> recent(const FrameWindow& window, const FitQuestion& question, Time now);
  /// Takes a full window's fit as experience; to be called once for each hour. `fit`: a fresh one
  /// of the same window and question.
  void learn(const Fit& fit, const FrameWindow& window, const FitQuestion& question);
  /// The same from a window whose losses have nothing to do with the level: its losses, its levels.
  void learn_collisions(double heard, double lost);
  void learn_shape(const FrameWindow& window);

  /// The share of frames, 0..1, that are too weak where no fit runs: levels of this median and
  /// deviation with the skewness that was learned, under a limit as unsharp as was learned.
  double share_too_weak(double median_db, double deviation_db) const;

  /// That no fit was needed; holds for as long as a fit does.
  void note_clear(Time now) { clear_at_ = now; }
  bool lately_clear(Time now) const { return now >= clear_at_ && now - clear_at_ < kKept; }

  void shift(Duration step) {
    kept_at_ += step;
    clear_at_ += step;
  }

  template <class A>
  void archive(A& a) {
    a(belief_.collisions, belief_.bends, limits_, log_deviation_, log_deviation_weight_);
    if constexpr (A::kReading) check();
  }

 private:
  static constexpr Duration kKept = std::chrono::minutes{5};
  void learn_bends(const std::array<double, 4>& after);
  double limit_sd_db() const;
  void learn_log_deviation(double seen, double precision);
  void check();
  estimate::SurvivorBelief belief_for(const FitQuestion& question) const;
  void learn_limit(const FrameWindow& window, const FitQuestion& question);
  std::optional<Fit> fit(const FrameWindow& window, const FitQuestion& question,
                         double limit_sd_db) const;

  /// How sharp the limit is below which frames are lost.
  static constexpr std::array<double, 3> kLimitSdDb = {0.3, 0.65, 1.2};
  static constexpr std::array<double, 3> kPlainLimits = {0.2, 0.6, 0.2};

  estimate::SurvivorBelief belief_;
  std::array<double, 3> limits_ = kPlainLimits;  ///< belief in each of kLimitSdDb
  double log_deviation_ = 0;
  double log_deviation_weight_ = 0;
  std::optional<Fit> kept_;
  Time kept_at_{};
  Time clear_at_{};
};

}  // namespace fadeward::link
