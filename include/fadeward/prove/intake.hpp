// Bytes of the line -> frames of the test, and what was in between.
#pragma once

#include <cstdint>
#include <functional>
#include <span>

#include "fadeward/framing/cobs.hpp"
#include "fadeward/prove/frame.hpp"

namespace fadeward::prove {

/// One thread. Bounded whatever comes.
class Intake final : private framing::FrameSink {
 public:
  /// `octets`: size of the frame on the wire.
  using OnFrame = std::function<void(const Frame& frame, std::size_t octets)>;

  /// `expected_octets`: size of frames on the wire; 0: that of the last good one, before it the
  /// smallest.
  explicit Intake(std::size_t expected_octets, OnFrame on_frame);

  void feed(std::span<const std::uint8_t> bytes) { framer_.feed(bytes, *this); }
  /// The line was interrupted: what was begun is forgotten, and counted as noise.
  void cut() { noise_octets_ += framer_.reset(); }

  /// Pieces between delimiters that did not check and were longer than half a frame: frames that
  /// came damaged. A damaged frame that falls in two is one.
  std::uint32_t damaged() const { return damaged_; }
  /// Octets of everything else that is no frame: noise, remains of cut frames, foreign traffic.
  std::uint64_t noise_octets() const { return noise_octets_; }

 private:
  void frame(std::string_view content) override;
  void discarded(DiscardReason reason, std::uint64_t bytes) override;

  framing::CobsFramer framer_;
  std::size_t expected_octets_;
  const bool learn_;
  OnFrame on_frame_;
  std::uint32_t damaged_ = 0;
  std::uint64_t noise_octets_ = 0;
};

}  // namespace fadeward::prove
