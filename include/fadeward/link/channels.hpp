// Which hop channels are used and how much each counts.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

namespace fadeward::link {

/// Gives hop channels small indices in order of first use, and each a weight that makes all of them
/// count alike however often each is heard. Weights follow the shares of the last days and are
/// settled now and then, so that a window can take out what it put in.
class ChannelShares {
 public:
  static constexpr std::size_t kMost = 128;   ///< further channels share the last index

  /// Index of a channel number or carrier frequency in Hz; a new one is taken up.
  std::uint8_t index_of(double channel_or_hz);
  /// The weight to give a frame (16 = one).
  std::uint8_t weight(std::uint8_t index) const { return places_[index].weight; }
  /// Counts frames of one channel.
  void count(std::uint8_t index, std::uint32_t frames) {
    frames_[index] += static_cast<float>(frames);
  }
  std::size_t size() const { return keys_.size(); }
  double key(std::uint8_t index) const { return keys_[index]; }
  /// Asks for what a frame on the channel of this number touches.
  [[gnu::always_inline]] void prefetch(double channel) const {
    if (channel >= 0 && channel < static_cast<double>(kMost))
      __builtin_prefetch(&places_[static_cast<std::size_t>(channel)]);
  }
  /// Of frames that never arrived, those sent on channels that have gone dead: known from the days
  /// before, now heard less than a quarter as often as the usual one. `heard`: frames of each channel
  /// lately. Empty where too few are heard to tell.
  std::optional<double> missing_on_dead(const std::array<std::uint16_t, kMost>& heard) const;
  /// Recomputes the weights; call every quarter hour.
  void settle();

  template <class A>
  void archive(A& a) {
    a(keys_, frames_);
    if constexpr (A::kReading) {
      if (keys_.size() > kMost || frames_.size() != keys_.size()) {
        a.fail();
        return;
      }
      places_ = {};
      for (std::size_t i = 0; i < keys_.size(); ++i) note_number(keys_[i], i);
      weigh();
    }
  }

 private:
  void note_number(double channel, std::size_t index);
  void weigh();

  /// Two tables in one: the index of the channel whose number is the place, and the weight of the
  /// channel whose index is the place. Mostly these are the same or lie near each other.
  struct Place {
    std::uint8_t index_after = 0;  ///< 1 + index; 0: not seen
    std::uint8_t weight = 16;
  };
  std::array<Place, kMost> places_{};
  std::vector<double> keys_;
  std::vector<float> frames_;  ///< fading counts
};

}  // namespace fadeward::link
