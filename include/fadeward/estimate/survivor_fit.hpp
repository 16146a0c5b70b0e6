// Level and spread of all frames sent, from those that arrived and the number of those that did
// not.
#pragma once

#include <array>
#include <cstddef>
#include <optional>

namespace fadeward::estimate {

/// Levels of the frames that arrived, each spread evenly over the decibel in which it was read,
/// in cells of 0.25 dB. About 2 KiB: for the stack.
class SurvivorLevels {
 public:
  static constexpr int kCells = 512;
  static constexpr double kStepDb = 0.25;
  static constexpr double kLowestDb = -64;

  void add(double level_db, float weight);
  /// To be called once, after the last `add`.
  void finish();

  double weight() const { return weight_; }
  /// Kish's effective number of frames: less than there were if their weights differ.
  double effective() const { return square_ > 0 ? weight_ * weight_ / square_ : 0; }
  double mean() const { return weight_ > 0 ? sum_ / weight_ : 0; }
  double variance() const;
  int first() const { return first_; }
  int last() const { return last_; }
  double at(int cell) const { return static_cast<double>(cells_[static_cast<std::size_t>(cell)]); }
  static double level_of(int cell) { return kLowestDb + kStepDb * cell; }

 private:
  std::array<float, kCells + 1> cells_{};  ///< differences until `finish`
  double weight_ = 0, square_ = 0, sum_ = 0, sum_square_ = 0;
  int first_ = kCells, last_ = -1;
};

/// What the two ends counted. `heard` may be more than the levels that became known.
struct FrameCounts {
  double heard = 0;
  double lost = 0;
};

/// How frames are lost: below a limit that is not sharp, and here and there whatever their level.
struct LossModel {
  double limit_db = 0;         ///< half of the frames of this level arrive
  double limit_sd_db = 0.65;   ///< the limit is normal with this deviation
  double reading_sd_db = 0.9;  ///< error of a level as it was read, 1 dB steps included
};

/// What is believed before; a precision is one over the variance, 0 says nothing.
struct SurvivorBelief {
  /// Share of frames lost whatever their level.
  static constexpr std::array<double, 8> kCollisions = {0,    0.02, 0.05, 0.10,
                                                        0.15, 0.20, 0.30, 0.45};
  static constexpr std::array<double, 8> kPlainCollisions = {0.86, 0.03, 0.02, 0.02,
                                                             0.02, 0.02, 0.02, 0.01};
  /// Skewness to the left, per decibel: a level is limit + log(1 + bend x) / bend with x normal, so
  /// its skewness is about -3 bend times its deviation. Fading in decibels leans that way.
  static constexpr std::array<double, 4> kBends = {0, 0.025, 0.05, 0.08};
  static constexpr std::array<double, 4> kPlainBends = {0.3, 0.35, 0.25, 0.1};

  std::array<double, 8> collisions = kPlainCollisions;  ///< of each share of `kCollisions`; sum 1
  std::array<double, 4> bends = kPlainBends;            ///< of each of `kBends`; sum 1
  double log_deviation = 1.03;                          ///< natural logarithm, dB: 2.8 dB
  double log_deviation_precision = 4;
  double median_db = 0;
  double median_precision = 0;
};

struct SurvivorFit {
  double median_db = 0;
  double median_sd_db = 0;  ///< of the median of the very frames sent, not of a population
  double deviation_db = 0;  ///< of the levels sent, reading errors taken out
  double log_deviation_sd = 0;
  double low_db = 0;        ///< exceeded by 99 in 100
  double collisions = 0;    ///< share lost whatever the level
  double level_lost = 0;    ///< share of all frames that was too weak
  double log_evidence = 0;  ///< to compare fits of the same frames under different `LossModel`s
  std::array<double, 8>
      collisions_after{};               ///< `SurvivorBelief::collisions` with these frames; sum 1
  std::array<double, 4> bends_after{};  ///< `SurvivorBelief::bends` with these frames
};

/// Maximum likelihood (with the belief as prior) of a normal level of which each frame arrives with
/// the probability (1 - c) Phi((level - limit) / limit_sd); c and the skewness are averaged over
/// their posterior. `counts` is empty where nobody counted: then the levels alone speak, as a
/// truncated sample. Where the median lies among frames that mostly arrive it is not the fitted one
/// but the middle of the arrived ones, each counted as often as frames of its level were sent
/// (Horvitz and Thompson 1952), which holds for any distribution. Empty without a frame. Cost: some
/// 20 us. Source of the two cases: A. C. Cohen, Truncated and Censored Samples, 1991.
std::optional<SurvivorFit> fit_survivors(const SurvivorLevels& levels,
                                         std::optional<FrameCounts> counts, const LossModel& model,
                                         const SurvivorBelief& belief);

}  // namespace fadeward::estimate
