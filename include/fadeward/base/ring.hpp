// A queue on one block of memory that grows to a limit and then stays.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

namespace fadeward {

/// First in, first out. `push` doubles the block while it is full; whoever needs a bound checks
/// `size()` first. Index 0 is the oldest.
template <class T>
class Ring {
 public:
  std::size_t size() const { return size_; }
  bool empty() const { return size_ == 0; }
  std::size_t capacity() const { return slots_.size(); }

  T& operator[](std::size_t index) { return slots_[wrap(first_ + index)]; }
  const T& operator[](std::size_t index) const { return slots_[wrap(first_ + index)]; }
  T& front() { return slots_[first_]; }
  const T& front() const { return slots_[first_]; }
  T& back() { return (*this)[size_ - 1]; }
  const T& back() const { return (*this)[size_ - 1]; }

  /// The items from `first` on as two runs in a row, oldest first; the second may be empty.
  std::pair<std::span<const T>, std::span<const T>> from(std::size_t first) const {
    if (first >= size_) return {};
    const std::size_t begin = wrap(first_ + first), count = size_ - first;
    const std::size_t upper = std::min(count, slots_.size() - begin);
    return {{slots_.data() + begin, upper}, {slots_.data(), count - upper}};
  }

  void push(const T& value) {
    if (size_ == slots_.size()) grow();
    slots_[wrap(first_ + size_)] = value;
    ++size_;
  }
  /// Where the next item will lie, unless the block grows; the block must not be empty.
  const T* next_slot() const { return &slots_[wrap(first_ + std::min(size_, slots_.size() - 1))]; }
  void pop() {
    first_ = wrap(first_ + 1);
    --size_;
  }
  /// Makes the block exactly `slots` long, unless it is longer already.
  void reserve(std::size_t slots) {
    if (slots > slots_.size()) move_to(slots);
  }
  void clear() { first_ = size_ = 0; }

 private:
  std::size_t wrap(std::size_t index) const { return index < slots_.size() ? index : index - slots_.size(); }
  void grow() { move_to(slots_.empty() ? 16 : slots_.size() + slots_.size() / 2); }
  void move_to(std::size_t slots) {
    std::vector<T> bigger(slots);
    for (std::size_t i = 0; i < size_; ++i) bigger[i] = (*this)[i];
    slots_.swap(bigger);
    first_ = 0;
  }

  std::vector<T> slots_;
  std::size_t first_ = 0;
  std::size_t size_ = 0;
};

}  // namespace fadeward
