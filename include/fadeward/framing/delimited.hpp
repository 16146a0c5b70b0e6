// Cutting a stream at a delimiter octet: what COBS and HDLC have in common.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <vector>

namespace fadeward::framing {

/// Holds the octets between two delimiters, at most `limit` of them.
class Delimited {
 public:
  Delimited(std::uint8_t delimiter, std::size_t limit) : delimiter_(delimiter), limit_(limit) {}

  /// Calls `on_piece(span)` at each delimiter with the octets before it (perhaps none) and
  /// `on_overflow(count)` for octets of a piece that grew above the limit; such a piece ends as an
  /// empty one. The span lies in `bytes` or in the buffer and lives during the call.
  template <class OnPiece, class OnOverflow>
  void feed(std::span<const std::uint8_t> bytes, OnPiece&& on_piece, OnOverflow&& on_overflow) {
    while (!bytes.empty()) {
      const void* found = std::memchr(bytes.data(), delimiter_, bytes.size());
      const std::size_t size =
          found ? static_cast<std::size_t>(static_cast<const std::uint8_t*>(found) - bytes.data())
                : bytes.size();
      add(bytes.first(size), found != nullptr, on_piece, on_overflow);
      bytes = bytes.subspan(size + (found ? 1 : 0));
    }
  }

  std::span<const std::uint8_t> held() const { return held_; }
  void clear() {
    held_.clear();
    overflowed_ = false;
  }

 private:
  template <class OnPiece, class OnOverflow>
  void add(std::span<const std::uint8_t> part, bool ended, OnPiece& on_piece,
           OnOverflow& on_overflow) {
    if (!overflowed_ && part.size() > limit_ - held_.size()) {
      overflowed_ = true;
      on_overflow(held_.size() + part.size());
      held_.clear();
    } else if (overflowed_) {
      if (!part.empty()) on_overflow(part.size());
    } else if (ended && held_.empty()) {
      return on_piece(part);
    } else {
      hold(part);
    }
    if (!ended) return;
    on_piece(std::span<const std::uint8_t>(held_));
    clear();
  }

  void hold(std::span<const std::uint8_t> part) {
    const std::size_t size = held_.size() + part.size();
    if (size > held_.capacity())
      held_.reserve(std::min(std::max(size, 2 * held_.capacity()), limit_));
    held_.insert(held_.end(), part.begin(), part.end());
  }

  std::uint8_t delimiter_;
  std::size_t limit_;
  std::vector<std::uint8_t> held_;
  bool overflowed_ = false;
};

}  // namespace fadeward::framing
