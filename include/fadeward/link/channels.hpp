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
  /// Counts one frame; returns the weight to give it (16 = one).
  std::uint8_t count(std::uint8_t index);
  /// The weight alone.
  std::uint8_t weight(std::uint8_t index) const { return weights_[index]; }
  std::size_t size() const { return keys_.size(); }
  double key(std::uint8_t index) const { return keys_[index]; }
  /// Of frames that never arrived, those sent on channels that have gone dead: known from the days
  /// before, now heard less than a quarter as often as the usual one. `heard`: frames of each channel
  /// lately. Empty where too few are heard to tell.
  std::optional<double> missing_on_dead(const std::array<std::uint16_t, kMost>& heard) const;
  /// Recomputes the weights; call every quarter hour.
  void settle();

  template <class A>
  void archive(A& a) {
    a(keys_, frames_, weights_);
    if constexpr (A::kReading) {
      if (keys_.size() > kMost || frames_.size() != keys_.size() || weights_.size() != keys_.size())
        a.fail();
    }
  }

 private:
  std::vector<double> keys_;
  std::vector<float> frames_;         ///< fading counts
  std::vector<std::uint8_t> weights_;
};

}  // namespace fadeward::link
