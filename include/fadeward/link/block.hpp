// Statistics of a few minutes of one link: what change is looked for in.
#pragma once

#include <array>
#include <cstdint>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::link {

/// One direction. Levels are means over the frames heard, hop channels' offsets removed; the signal
/// for a transmit power of 0 dBm where the power is known (then it is minus the path loss), the
/// noise for kNoiseBandwidthHz (white noise is as strong as the filter is wide). Where frames were
/// lost for want of level, the signal is an estimate for all that were sent.
inline constexpr double kNoiseBandwidthHz = 125e3;

struct BlockSide {
  std::uint32_t frames = 0;  ///< measured
  std::uint32_t heard = 0;   ///< counted by `seq` or by counters
  std::uint32_t lost = 0;
  bool loss_known = false;
  bool noise_known = false;  ///< measured, not assumed
  float signal_db = 0;       ///< valid if frames > 0
  float noise_dbm = 0;       ///< in kNoiseBandwidthHz
  float margin_db = 0;       ///< mean over the frames heard, as measured
};

struct Block {
  Time from{};
  Time to{};
  std::array<BlockSide, kDirections> sides;
};

}  // namespace fadeward::link
