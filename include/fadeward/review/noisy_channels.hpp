// Hop channels that were noisier than usual for a month or more, and when.
#pragma once

#include <string>
#include <vector>

#include "fadeward/base/time.hpp"

namespace fadeward::review {

/// Noise of one month by channel, against the middle of its channels.
struct ChannelMonth {
  struct Level {
    unsigned channel = 0;
    double noise_offset_db = 0;
  };
  Time from{};
  Time to{};
  std::vector<Level> levels;  ///< by rising channel
};

struct NoisyChannels {
  std::vector<unsigned> channels;  ///< rising
  Time from{};                     ///< beginning of the first month
  Time to{};                       ///< end of the last
  double most_db = 0;   ///< above the usual, middle of these channels in their worst month
  bool standing = false;  ///< in the last month too
};

/// A channel is noisier where its month lies 1.5 dB above its own usual, the median of its months
/// (taken as within 1 dB of all channels' middle, so that one that was noisy all the time stands
/// out too), and 2 dB in one month of such a run. Runs that begin and end within a month of each
/// other are one. `months` in order; those without data end a run.
std::vector<NoisyChannels> noisy_channels(const std::vector<ChannelMonth>& months);

/// "15 to 20, 23"; more than twelve parts end in "...".
std::string channel_words(const std::vector<unsigned>& channels);

}  // namespace fadeward::review
