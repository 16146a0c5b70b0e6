// Plain counts and exact medians of what arrived between two snapshots of a replay.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "fadeward/estimate/median_keeper.hpp"

namespace fadeward::link {

/// Frames of one direction without smoothing or correction. Where it is not asked for it keeps
/// nothing.
class IntervalKeeper {
 public:
  explicit IntervalKeeper(bool asked_for)
      : kept_(asked_for ? std::make_unique<Kept>() : nullptr) {}

  void add(std::int16_t signal_cdbm, std::int16_t noise_cdbm) {
    if (!kept_) return;
    fresh_.emplace_back(signal_cdbm, noise_cdbm);
    if (fresh_.size() == kFresh) settle();
  }
  void add_lost(std::uint32_t frames) {
    if (kept_) kept_->lost += frames;
  }
  void one_lost_fewer() {
    if (kept_ && kept_->lost > 0) --kept_->lost;
  }
  [[gnu::always_inline]] void prefetch() const { __builtin_prefetch(fresh_.data() + fresh_.size(), 1); }

  struct Interval {
    std::uint64_t frames = 0;  ///< with a measurement
    std::uint64_t lost = 0;    ///< gaps noticed
    std::optional<double> signal_median_dbm;
    std::optional<double> noise_median_dbm;
  };
  /// Everything since the last call; empty where nothing is kept.
  std::optional<Interval> take();

 private:
  static constexpr std::size_t kFresh = 1024;
  struct Kept {
    std::uint64_t frames = 0;
    std::uint64_t lost = 0;
    estimate::MedianKeeper signal;
    estimate::MedianKeeper noise;
  };
  void settle();

  std::vector<std::pair<std::int16_t, std::int16_t>> fresh_;  ///< signal and noise, not yet in kept_
  std::unique_ptr<Kept> kept_;
};

}  // namespace fadeward::link
