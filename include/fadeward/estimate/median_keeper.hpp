// The exact median of everything since it was last asked, in bounded memory.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

namespace fadeward::estimate {

/// Keeps values to 0.01 dB over -327..+327 dB. Up to 4,096 of them stand in a list; beyond, counts
/// per 0.01 dB take over (256 KiB).
class MedianKeeper {
 public:
  void add(std::int16_t value_cdb) {
    ++count_;
    if (!counts_.empty()) [[unlikely]] {
      ++counts_[static_cast<std::size_t>(value_cdb + kCells / 2)];
      return;
    }
    values_.push_back(value_cdb);
    if (values_.size() > kExact) spill();
  }
  /// Adds one member of each element of a range.
  template <class Range, class Member>
  void add_all(const Range& range, Member member) {
    if (!counts_.empty() || values_.size() + range.size() > kExact) {
      for (const auto& element : range) add(element.*member);
      return;
    }
    const std::size_t before = values_.size();
    values_.resize(before + range.size());
    std::int16_t* to = values_.data() + before;
    for (const auto& element : range) *to++ = element.*member;
    count_ += range.size();
  }
  std::uint64_t count() const { return count_; }
  /// Mean of the two middle values for an even count. Empty while empty.
  std::optional<double> median_db();
  void clear();

 private:
  static constexpr std::size_t kExact = 4096;
  static constexpr int kCells = 65536;
  void spill();

  std::vector<std::int16_t> values_;
  std::vector<std::uint32_t> counts_;
  std::uint64_t count_ = 0;
};

}  // namespace fadeward::estimate
