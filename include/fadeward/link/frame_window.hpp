// The frames of the last hour of one direction, with their margin at hand.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "fadeward/base/ring.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/estimate/sliding_histogram.hpp"

namespace fadeward::link {

/// One measured frame, or several in a row where more arrive than the window holds.
struct FrameSample {
  static constexpr std::uint8_t kNoChannel = 255;
  std::uint32_t at_ds = 0;        ///< tenths of a second since the window's origin
  std::int16_t signal_cdbm = 0;   ///< hundredths of a dBm
  std::int16_t noise_cdbm = 0;
  std::int16_t margin_cdb = 0;    ///< hundredths of a dB
  std::uint16_t lost = 0;         ///< frames lost since the sample before
  std::uint16_t frames = 1;       ///< frames that this sample stands for
  std::uint8_t channel = kNoChannel;
  std::uint8_t weight = 16;       ///< 16 = counts once

  template <class A>
  void archive(A& a) {
    a(at_ds, signal_cdbm, noise_cdbm, margin_cdb, lost, frames, channel, weight);
  }
};

/// Level in hundredths of a decibel, rounded, within +-327 dB.
inline std::int16_t hundredths(double level_db) {
  const double bounded = level_db < -327 ? -327 : level_db > 327 ? 327 : level_db;
  // Rounds by cutting off above zero: floor() is a call on the oldest machines that must run this.
  return static_cast<std::int16_t>(static_cast<int>(bounded * 100 + (32768 + 0.5)) - 32768);
}

/// The same where the level is known to lie within that range.
inline std::int16_t hundredths_in_range(double level_db) {
  return static_cast<std::int16_t>(static_cast<int>(level_db * 100 + (32768 + 0.5)) - 32768);
}

/// Median and the like over one hour, or over the last 30 frames (at most 7 days) where an hour
/// holds fewer. Never more than 384 samples: where frames come faster, every second, fourth ... is
/// kept and stands for the others.
class FrameWindow {
 public:
  static constexpr Duration kSpan = std::chrono::hours{1};
  static constexpr Duration kLongest = std::chrono::hours{24 * 7};
  static constexpr std::size_t kFewest = 30;
  static constexpr std::size_t kMost = 384;
  static constexpr std::uint8_t kFullWeight = 16;

  /// `frames`: frames heard that this measurement stands for (1 unless counters say more); `lost`:
  /// frames missing before it. Times may come a little out of order.
  void add(Time at, double signal_dbm, double noise_dbm, double margin_db, std::uint32_t frames,
           std::uint32_t lost, std::uint8_t channel, std::uint8_t weight);
  /// The same with levels, channel and weight of `sample`.
  void add(Time at, FrameSample sample, std::uint32_t frames, std::uint32_t lost);
  /// Calls `visit(sample)` for the samples from `start` on, oldest first. Samples that came out of
  /// order by more than a minute may be missed.
  template <class Visit>
  void visit_since(Time start, Visit visit) const {
    const std::int64_t start_ds = stamp_of(start);
    const auto [older, newer] = samples_.from(0);
    const auto newer_from = first_since(newer, start_ds - 600);
    const auto older_from =
        newer_from == newer.begin() ? first_since(older, start_ds - 600) : older.end();
    for (auto it = older_from; it != older.end(); ++it)
      if (it->at_ds >= start_ds) visit(*it);
    for (auto it = newer_from; it != newer.end(); ++it)
      if (it->at_ds >= start_ds) visit(*it);
  }
  /// The same for all samples.
  template <class Visit>
  void visit(Visit visit) const {
    const auto [older, newer] = samples_.from(0);
    for (const FrameSample& sample : older) visit(sample);
    for (const FrameSample& sample : newer) visit(sample);
  }
  /// One loss fewer: a frame that came late filled a gap.
  void one_lost_fewer();
  /// Lets go what has become too old. Adding does not: call it once a minute and before reading.
  void expire(Time now) {
    if (now > oldest_leaves_) expire_some(now);
  }
  void clear();
  void shift(Duration step) {
    origin_ += step;
    oldest_leaves_ = Time::min();
  }

  /// Bytes that every frame touches, about; the long part follows.
  static constexpr std::size_t kHead = 100;
  /// With those in the cache: asks for what they point to.
  [[gnu::always_inline]] void prefetch() const {
    margins_.prefetch();
    if (samples_.capacity() > 0) __builtin_prefetch(samples_.next_slot(), 1);
  }

  std::uint32_t frames() const { return frames_; }   ///< received in the window
  std::size_t samples() const { return samples_.size(); }   ///< measured, of which `frames` may be more
  std::uint32_t lost() const { return lost_; }
  bool empty() const { return samples_.empty(); }
  /// What the window covers: one hour, or more where it grew.
  Duration span(Time now) const;
  Time newest() const { return time_of(samples_.back()); }
  /// When a sample of this window was heard, to a tenth of a second.
  Time time_of(const FrameSample& sample) const {
    return origin_ + Duration{100000} * sample.at_ds;
  }

  /// Margin exceeded by all but a share `q` of the frames sent, hop channels counted alike. Lost
  /// frames rank below every received one if `lost_at_bottom`. Empty while empty, and where the
  /// quantile falls among the lost.
  std::optional<double> margin_quantile_db(double q, bool lost_at_bottom) const;
  /// Median of the received frames, hop channels counted alike. Empty while empty.
  std::optional<double> margin_median_db() const { return margins_.smooth_median_db(); }
  std::optional<double> margin_deviation_db() const { return margins_.deviation_db(); }
  /// Medians of the received frames with the same weights. Cost: a scan of the window.
  std::optional<double> signal_median_dbm() const;
  std::optional<double> noise_median_dbm() const;
  struct NoiseMoments {
    double mean_dbm = 0;
    double variance_db2 = 0;
  };
  /// Of the received frames; zeros while empty. Cost: a scan of the window.
  NoiseMoments noise_moments() const;
  /// Median margin and its count over the last `span`. Cost: a scan.
  std::optional<double> recent_margin_db(Time now, Duration span) const;

  template <class A>
  void archive(A& a) {
    a(origin_, samples_, thin_by_, skipped_, skipped_frames_, skipped_lost_);
    if constexpr (A::kReading) {
      if (samples_.size() > kMost) {
        samples_.clear();
        a.fail();
      }
      rebuild();
    }
  }

 private:
  /// Tenths of a second since the origin, rounded towards it; negative before it.
  std::int64_t stamp_of(Time at) const { return (at - origin_).count() / 100000; }
  /// Where the samples begin that are all of this stamp or younger.
  static std::span<const FrameSample>::iterator first_since(std::span<const FrameSample> run,
                                                            std::int64_t stamp_ds) {
    auto it = run.end();
    while (it != run.begin() && (it - 1)->at_ds >= stamp_ds) --it;
    return it;
  }
  void expire_some(Time now);
  std::uint32_t stamp(Time at);
  void rebase(Time at);
  void thin();
  void drop_oldest();
  void rebuild();
  std::optional<double> weighted_median(std::int16_t FrameSample::* level) const;

  Time origin_{};
  Time oldest_leaves_ = Time::min();   ///< nothing leaves before
  Ring<FrameSample> samples_;
  std::uint32_t frames_ = 0;
  std::uint32_t lost_ = 0;
  std::uint16_t thin_by_ = 1;       ///< every how many-th frame is kept
  std::uint16_t skipped_ = 0;       ///< frames since the last kept one
  std::uint32_t skipped_frames_ = 0;
  std::uint32_t skipped_lost_ = 0;
  estimate::SlidingHistogram margins_;  ///< last: long
};

}  // namespace fadeward::link
