#include "fadeward/prove/number_track.hpp"

namespace fadeward::prove {

bool NumberTrack::test_and_set(std::uint32_t number) {
  std::uint64_t& word = seen_[number % kWindow / 64];
  const std::uint64_t bit = std::uint64_t{1} << (number % 64);
  const bool was = (word & bit) != 0;
  word |= bit;
  return was;
}

NumberTrack::Arrival NumberTrack::take(std::uint32_t number) {
  if (number > highest_) {
    // The places of the numbers passed over are used anew.
    if (number - highest_ >= kWindow) {
      seen_.fill(0);
    } else {
      for (std::uint32_t skipped = highest_ + 1; skipped <= number; ++skipped)
        seen_[skipped % kWindow / 64] &= ~(std::uint64_t{1} << (skipped % 64));
    }
    if (first_ == 0) first_ = number;
    highest_ = number;
    ++distinct_;
    test_and_set(number);
    return Arrival::in_order;
  }
  if (highest_ - number >= kWindow || test_and_set(number)) {
    ++duplicates_;
    return Arrival::duplicate;
  }
  ++distinct_;
  ++late_;
  if (number < first_) first_ = number;
  return Arrival::late;
}

}  // namespace fadeward::prove
