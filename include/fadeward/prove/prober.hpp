// The near end: numbers and sends, takes the echoes, and tells both directions apart.
//
// Pure: time and bytes go in, bytes to send and counts come out. Times are `Instant::steady`.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "fadeward/base/time.hpp"
#include "fadeward/prove/intake.hpp"
#include "fadeward/prove/number_track.hpp"
#include "fadeward/prove/tally.hpp"

namespace fadeward::prove {

struct ProberSettings {
  std::uint32_t session = 0;  ///< any number that differs from run to run
  std::size_t octets = 48;    ///< of a frame on the wire: kSmallestFrame to kLargestFrame
  Duration wait = std::chrono::seconds{5};  ///< an answer may take this long
  double rate_per_s = 1;
  std::optional<Duration> latency_limit;  ///< round trips above it are counted
};

/// How both directions are told apart: the far end sends its own counts with every echo. Probes up
/// to the highest one that it had heard are judged outbound, its echoes up to the highest one heard
/// here inbound; a question at the end settles what lies beyond. A far end that restarts begins a
/// new count, a port that closes a new session: what falls between is untold, not lost.
class Prober {
 public:
  explicit Prober(const ProberSettings& settings);
  Prober(const Prober&) = delete;
  Prober& operator=(const Prober&) = delete;

  /// The next probe, valid until the next call; counts as sent now. Empty after kMostNumbers.
  std::span<const std::uint8_t> probe(Duration now);
  /// Asks the far end for its counts: before the first probe, to see whether somebody is there, and
  /// after the last.
  std::span<const std::uint8_t> question();

  void feed(std::span<const std::uint8_t> bytes, Duration now);
  /// The port closed.
  void interrupted(Duration now);

  std::uint32_t sent() const { return static_cast<std::uint32_t>(trips_.size()); }
  std::uint64_t answered() const { return answered_; }
  bool far_end_heard() const { return !segments_.empty(); }
  bool settled() const;
  /// Is every probe answered?
  bool all_answered() const { return answered_ == trips_.size() - voided_; }

  /// A probe without an answer counts as lost once it is older than `wait`; with `final`, at once.
  Tally tally(Duration now, bool final) const;

  /// {sent, answered} of the probes sent within `span` before `now`, those younger than `grace`
  /// left out unless they are answered.
  std::pair<std::uint32_t, std::uint32_t> recent(Duration now, Duration span,
                                                 Duration grace) const;
  /// Median round trip of the last 25 answered; empty before the first.
  std::optional<double> recent_latency_s() const;

 private:
  struct Trip {
    Duration sent{};
    std::int32_t took_us = kOpen;
  };
  static constexpr std::int32_t kOpen = -1, kVoided = -2;

  /// One count of the far end: one session of each end.
  struct Segment {
    std::uint32_t near_session = 0;
    std::uint32_t begin = 1;  ///< first probe that belongs to it; 0: what the far end heard first
    FarCounts far;            ///< the newest
    std::uint32_t asked_after = 0;  ///< the highest number of a question answered
    NumberTrack echoes;
  };

  void take(const Frame& frame);
  void take_echo(const Frame& frame, Segment& segment);
  Segment* segment_of(const Frame& frame);
  static bool plausible(const Frame& frame, std::uint32_t sent);
  void put_outbound(const Segment& segment, DirectionTally& tally) const;

  const ProberSettings settings_;
  std::uint32_t session_;
  std::uint32_t session_begin_ = 1;  ///< first probe of this session
  Intake intake_;
  std::vector<Trip> trips_;
  std::vector<Segment> segments_;
  std::vector<std::uint8_t> out_;
  Duration now_{};
  std::uint32_t damaged_before_ = 0;  ///< the first probe
  std::uint64_t answered_ = 0;
  std::uint64_t voided_ = 0;
  std::uint32_t interruptions_ = 0;
  std::uint64_t looped_ = 0;
  std::uint64_t foreign_ = 0;
};

}  // namespace fadeward::prove
