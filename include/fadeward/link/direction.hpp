// One direction of one link: frames, losses, retries, levels, and the open quarter hour.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/bin.hpp"
#include "fadeward/base/prefetch.hpp"
#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/estimate/rolling_counts.hpp"
#include "fadeward/link/block.hpp"
#include "fadeward/link/channel_levels.hpp"
#include "fadeward/link/channels.hpp"
#include "fadeward/link/frame_window.hpp"
#include "fadeward/link/interval_keeper.hpp"
#include "fadeward/link/margin_fit.hpp"
#include "fadeward/link/saturation.hpp"
#include "fadeward/link/separation.hpp"

namespace fadeward::link {

/// The data rate and power of one frame, as reported or else as configured.
struct FrameSetting {
  std::optional<double> power_dbm;
  int spreading_factor = 0;  ///< 0: not a chirp or not known
  double bandwidth_hz = 0;
  double noise_bandwidth_hz = 0;  ///< of the receiver; 0: not known
};

/// State of one direction. Times are the caller's; they may come up to a minute out of order.
class DirectionState {
 public:
  explicit DirectionState(bool keep_intervals = false);

  /// A frame that was measured, `required_snr_db` at its own rate. It stands for the frames that
  /// were `counted` since the measurement before. `channel`: an index that `channels` gave;
  /// `weight`: of the sample; 0: such that all channels count alike.
  void measured(Time at, const Separated& levels, double required_snr_db,
                std::optional<std::uint8_t> channel, std::uint8_t weight = 0);
  /// Power and rate of the frames from now on; to be told before the first and at each change.
  void set_frames(const FrameSetting& setting);
  /// One frame heard, none lost before it.
  void heard(Time at, LossSource source) {
    loss_source = source;
    ++heard_since_;
    loss.add(at, 1, 0);
  }
  /// Frames heard and lost, the lost ones spread over (from, to].
  void counted(Time from, Time to, std::uint32_t heard, std::uint32_t lost, LossSource source);
  /// What was taken for noise was the receiver's ceiling: forgets the margins that rest on it.
  void disown_noise();
  /// A late frame fills a gap that was counted as lost.
  void one_lost_fewer(Time at);
  /// Transmissions of this direction's sender by its own counters.
  void sent(Time at, std::uint32_t transmissions, std::uint32_t retries, std::uint32_t failures);

  /// What a frame touches, then, with that in the cache, what it points to.
  [[gnu::always_inline]] void prefetch_head(double channel) const {
    prefetch_lines(&rules, reinterpret_cast<const char*>(&window) -
                               reinterpret_cast<const char*>(&rules) + FrameWindow::kHead);
    loss.prefetch();
    channels.prefetch(channel);
  }
  [[gnu::always_inline]] void prefetch() const {
    window.prefetch();
    interval.prefetch();
  }
  void tick(Time now);
  void shift(Duration step);
  /// Ends the open quarter hour early, as if its time were over; the next begins with the next frame.
  void end_bin();
  /// Forgets the open quarter hour, and counts it as dropped if it held anything and is kept at all.
  void drop_bin();
  /// The part of `tick` that is about the quarter hour.
  void end_bin_before(Time now) {
    if (bin_open() && now >= bin_until_) close_bin(now);
  }

  /// Statistics of the frames since the last call, or since power or bandwidth changed; channel
  /// offsets are learned from them. Once every few minutes.
  BlockSide take_block(Time now);

  /// Rice factor of the frames in the window, dB; steady over scattered power, hop channels'
  /// offsets removed. Empty for fewer than 100 frames, and where there is no fading to speak of
  /// (above 30 dB).
  std::optional<double> rician_k_db() const;

  // What every frame touches lies together.
  ReadingRules rules;  ///< how its levels are read; kept by LinkState
  SaturationLearner saturation;
  NoiseSource noise_source = NoiseSource::none;
  LossSource loss_source = LossSource::none;
  bool upkeep = false;
  bool keep_closed = false;
  std::uint64_t closed_dropped = 0;  ///< nobody fetched them
  std::uint64_t frames_total = 0;
  std::uint64_t lost_total = 0;
  IntervalKeeper interval;

 private:
  std::uint32_t heard_since_ = 0;  ///< counted since the last measurement
  std::uint32_t lost_since_ = 0;
  Time bin_until_ = Time::min();  ///< end of the open bin
  bool setting_changed_ = false;  ///< power or bandwidth, since the last frame

 public:
  FrameWindow window;
  estimate::RollingCounts loss;  ///< hits: heard; misses: lost
  ChannelShares channels;

  estimate::RollingCounts repeats;  ///< hits: first transmissions; misses: retries
  MarginFit margin_fit;             ///< for windows with losses
  ChannelLevels channel_levels;
  std::optional<double> power_dbm;      ///< of the last frame
  std::optional<double> snr_noise_dbm;  ///< noise from unsaturated SNR, smoothed
  Time snr_noise_at{};
  std::uint32_t snr_noise_frames = 0;  ///< that it rests on
  std::uint64_t retries_total = 0;
  std::uint64_t sent_total = 0;  ///< transmissions by the sender's own counter

  /// Median margin of the last 24 hours. Empty before the first frame.
  std::optional<double> day_margin_db(Time now) const;

  Bin bin;                  ///< the open quarter hour; its frames are counted at its end
  std::vector<Bin> closed;  ///< waiting for whoever keeps them

  template <class A>
  void archive(A& a) {
    a(window, loss, repeats, saturation, channels, noise_source,
      loss_source, power_dbm, snr_noise_dbm, snr_noise_at, snr_noise_frames, frames_total, sent_total,
      lost_total, retries_total, bin, heard_since_, lost_since_, bin_from_, rate_from_, blocks_,
      block_start_, channel_levels, taken_until_, slow_signal_dbm_, slow_noise_dbm_, slow_known_,
      margin_fit);
    if constexpr (A::kReading) {
      bin_since_ = bin.start;
      bin_until_ = bin.start == Time{} ? Time::min() : bin.start + kBinSpan;
    }
  }

 private:
  FrameSetting setting_;         ///< of the frames that come
  std::size_t rate_ = 0;         ///< its place in bin.rates
  Time bin_since_{};             ///< its first moment: its start, but for a step of the clock
  std::uint64_t bin_from_ = 0;   ///< frames_total when the bin was opened, and
  std::uint64_t rate_from_ = 0;  ///< when this rate began in it

  Time taken_until_{};                              ///< by take_block
  float slow_signal_dbm_ = 0, slow_noise_dbm_ = 0;  ///< means of some fifty frames, offsets removed
  bool slow_known_ = false;

  static constexpr std::size_t kBlocks = 12;  // of two hours
  static constexpr Duration kBlockSpan = std::chrono::hours{2};
  /// The open bin is the one of `at`, or a younger one; the first of all is opened here.
  void enter(Time at) {
    if (at >= bin_until_) close_bin(at);
  }
  /// Not told by its start: a clock that was never set begins at the epoch.
  bool bin_open() const { return bin_until_ != Time::min(); }
  void open_bin(Time at);
  void close_bin(Time now);
  void name_channels(Bin& kept) const;
  void fill_bin();
  void fill_block();
  void choose_rate();
  void settle_counts();

  /// Margins of the last day in coarse form: 1 dB cells from -16 dB.
  struct Block {
    std::array<std::uint16_t, 64> counts{};
    template <class A>
    void archive(A& a) {
      a(counts);
    }
  };
  std::array<Block, kBlocks> blocks_{};
  Time block_start_{};  ///< of the newest block
  std::size_t block_slot() const;
  void advance_blocks(Time at);
};

}  // namespace fadeward::link
