// Which of the numbers 1, 2, 3 ... have come, and how: in order, late or again.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace fadeward::prove {

/// Remembers the last kWindow numbers. One thread; no allocation.
class NumberTrack {
 public:
  static constexpr std::uint32_t kWindow = 8192;
  enum class Arrival : std::uint8_t {
    in_order,   ///< above all before it
    late,       ///< for the first time, after a higher one
    duplicate,  ///< again; also what lies kWindow or more below the highest: nobody can tell
  };

  /// `number` at least 1.
  Arrival take(std::uint32_t number);

  std::uint32_t first() const { return first_; }      ///< the lowest that came; 0: none yet
  std::uint32_t highest() const { return highest_; }  ///< 0: none yet
  std::uint32_t distinct() const { return distinct_; }
  std::uint32_t late() const { return late_; }
  std::uint32_t duplicates() const { return duplicates_; }

 private:
  bool test_and_set(std::uint32_t number);

  std::array<std::uint64_t, kWindow / 64> seen_{};
  std::uint32_t first_ = 0;
  std::uint32_t highest_ = 0;
  std::uint32_t distinct_ = 0;
  std::uint32_t late_ = 0;
  std::uint32_t duplicates_ = 0;
};

}  // namespace fadeward::prove
