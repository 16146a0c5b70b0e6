// What each hop channel adds to level and noise, and which channels have become noisy.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace fadeward::link {

/// Tracks, per hop channel, the offsets of signal and noise from the mean of all channels. A
/// channel that was never visited has offset 0. Offsets follow slowly (some hundred visits), so
/// that a change of all channels together never enters them and a change of a few shows for days.
class ChannelLevels {
 public:
  float signal_offset_db(std::size_t channel) const {
    return channel < channels_.size() ? channels_[channel].signal_db : 0;
  }
  float noise_offset_db(std::size_t channel) const {
    return channel < channels_.size() ? channels_[channel].noise_db : 0;
  }

  /// Its noise has left its offset lately. What such channels read belongs in no mean of all: the
  /// offsets of the others would follow it.
  bool stands_out(std::size_t channel) const {
    return channel < channels_.size() && channels_[channel].visits > kFewestVisits &&
           channels_[channel].noise_now_db - channels_[channel].noise_db > kHoldsBackDb;
  }

  /// One frame: its levels less the means of its block, offsets not yet removed.
  void add(std::size_t channel, float signal_above_mean_db, float noise_above_mean_db);
  std::size_t size() const { return channels_.size(); }

  /// Channels whose noise stands out, against their own past and the other channels.
  struct Contrast {
    std::uint32_t channels = 0;  ///< how many stand out
    std::uint32_t known = 0;     ///< of how many that were visited often enough
    double rise_db = 0;          ///< mean rise of those that stand out
    bool lasting = false;        ///< found in the offsets themselves: it has always been so
  };
  /// Cost: a few passes over the channels; meant for every some minutes.
  Contrast contrast() const;
  /// What stands out now is the new usual, what has always stood out included.
  void accept();

  template <class A>
  void archive(A& a) {
    a(channels_);
    if constexpr (A::kReading)
      if (channels_.size() > kMost) a.fail();
  }

 private:
  static constexpr std::size_t kMost = 128;
  static constexpr std::uint16_t kFewestVisits = 12;
  static constexpr float kHoldsBackDb = 0.9F;  ///< a channel that stands out teaches no offset
  struct Channel {
    float signal_db = 0;
    float noise_db = 0;
    float noise_now_db = 0;  ///< mean of the last handful of visits, from the block's mean
    float accepted_db = 0;   ///< of noise_db, what is no news
    std::uint16_t visits = 0;
    template <class A>
    void archive(A& a) {
      a(signal_db, noise_db, noise_now_db, accepted_db, visits);
    }
  };
  std::vector<Channel> channels_;
};

}  // namespace fadeward::link
