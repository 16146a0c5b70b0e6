// Characters that are written once, in order: a string whose growth costs no zeros.
#pragma once

#include <cstddef>
#include <cstring>
#include <memory>
#include <string_view>

namespace fadeward::publish {

/// Keeps its memory over clear(). Views and pointers live until the next grow_to().
class TextBuffer {
 public:
  TextBuffer() = default;
  TextBuffer(const TextBuffer&) = delete;
  TextBuffer& operator=(const TextBuffer&) = delete;

  std::string_view view() const { return {text_.get(), size_}; }
  std::size_t size() const { return size_; }
  std::size_t capacity() const { return capacity_; }
  void clear() { size_ = 0; }

  /// Where the next character goes; [end(), end() + room()) may be written before advance().
  char* end() { return text_.get() + size_; }
  std::size_t room() const { return capacity_ - size_; }
  void advance_to(const char* new_end) { size_ = static_cast<std::size_t>(new_end - text_.get()); }

  /// Keeps what is written. Never shrinks.
  void grow_to(std::size_t capacity) {
    if (capacity <= capacity_) return;
    auto larger = std::make_unique_for_overwrite<char[]>(capacity);
    if (size_ > 0) std::memcpy(larger.get(), text_.get(), size_);
    text_ = std::move(larger);
    capacity_ = capacity;
  }

 private:
  std::unique_ptr<char[]> text_;
  std::size_t size_ = 0;
  std::size_t capacity_ = 0;
};

}  // namespace fadeward::publish
