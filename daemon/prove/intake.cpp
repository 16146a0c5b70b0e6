#include "fadeward/prove/intake.hpp"

#include <utility>

namespace fadeward::prove {

Intake::Intake(std::size_t expected_octets, OnFrame on_frame)
    : framer_(kLargestFrame, FramingSettings::Crc::crc32),
      expected_octets_(expected_octets == 0 ? kSmallestFrame : expected_octets),
      learn_(expected_octets == 0),
      on_frame_(std::move(on_frame)) {}

void Intake::frame(std::string_view content) {
  const std::size_t octets = wire_size(content.size());
  const auto ours = read_frame(content);
  if (!ours) {
    noise_octets_ += octets;
    return;
  }
  if (learn_) expected_octets_ = octets;
  on_frame_(*ours, octets);
}

void Intake::discarded(DiscardReason reason, std::uint64_t bytes) {
  if (reason != DiscardReason::too_long && bytes > expected_octets_ / 2)
    ++damaged_;
  else
    noise_octets_ += bytes;
}

}  // namespace fadeward::prove
