// State to bytes and back with one function for both ways.
//
// A class that keeps state offers `template <class A> void archive(A& a) { a(first_, second_); }`.
// Numbers are stored in the byte order of the machine: a state file does not travel. Reading
// checks every length against what is left, so damaged bytes end in `ok() == false`, never in a
// wild allocation.
#pragma once

#include <array>
#include <bit>
#include <cstdint>
#include <cstring>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "fadeward/base/ring.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward {

class ArchiveWriter {
 public:
  static constexpr bool kReading = false;
  explicit ArchiveWriter(std::string& out) : out_(out) {}

  template <class... T>
  void operator()(T&... values) {
    (one(values), ...);
  }
  bool ok() const { return true; }

 private:
  template <class T>
  void raw(const T& value) {
    out_.append(reinterpret_cast<const char*>(&value), sizeof value);
  }
  void count(std::size_t n) { raw(static_cast<std::uint32_t>(n)); }

  template <class T>
  void one(T& value) {
    if constexpr (std::is_arithmetic_v<T> || std::is_enum_v<T>)
      raw(value);
    else
      value.archive(*this);
  }
  void one(Duration& value) { raw(value.count()); }
  void one(Time& value) { raw(value.time_since_epoch().count()); }
  void one(std::string& value) {
    count(value.size());
    out_ += value;
  }
  template <class T>
  void one(std::optional<T>& value) {
    raw(value.has_value());
    if (value) one(*value);
  }
  template <class T, std::size_t N>
  void one(std::array<T, N>& values) {
    for (T& value : values) one(value);
  }
  template <class T>
  void one(std::vector<T>& values) {
    count(values.size());
    for (T& value : values) one(value);
  }
  template <class T>
  void one(Ring<T>& values) {
    count(values.size());
    for (std::size_t i = 0; i < values.size(); ++i) one(values[i]);
  }

  std::string& out_;
};

class ArchiveReader {
 public:
  static constexpr bool kReading = true;
  explicit ArchiveReader(std::string_view bytes) : left_(bytes) {}

  template <class... T>
  void operator()(T&... values) {
    (one(values), ...);
  }
  /// False once anything did not fit; what was read since is meaningless.
  bool ok() const { return ok_; }
  bool at_end() const { return left_.empty(); }
  void fail() { ok_ = false; }

 private:
  template <class T>
  void raw(T& value) {
    if (left_.size() < sizeof value) {
      ok_ = false;
      left_ = {};
      value = T{};
      return;
    }
    std::memcpy(&value, left_.data(), sizeof value);
    left_.remove_prefix(sizeof value);
  }
  /// A count of elements, each at least one byte: more than what is left cannot be true.
  std::size_t count() {
    std::uint32_t n = 0;
    raw(n);
    if (n <= left_.size()) return n;
    ok_ = false;
    return 0;
  }

  template <class T>
  void one(T& value) {
    if constexpr (std::is_same_v<T, bool>) {
      std::uint8_t byte = 0;
      raw(byte);
      if (byte > 1) ok_ = false;
      value = byte == 1;
    } else if constexpr (std::is_arithmetic_v<T> || std::is_enum_v<T>) {
      raw(value);
    } else {
      value.archive(*this);
    }
  }
  void one(Duration& value) { value = Duration{ticks()}; }
  void one(Time& value) { value = Time{Duration{ticks()}}; }
  /// Microseconds. None that was ever written is longer than 285 years or after 2255: longer ones
  /// would not survive the sums that are made of them. The ends of the range stand for "never".
  Duration::rep ticks() {
    constexpr Duration::rep kMost = Duration::rep{1} << 53;
    Duration::rep out = 0;
    raw(out);
    const bool never = out == Duration::min().count() || out == Duration::max().count();
    if (!never && (out > kMost || out < -kMost)) {
      ok_ = false;
      out = 0;
    }
    return out;
  }
  void one(std::string& value) {
    const std::size_t n = count();
    value.assign(left_.substr(0, n));
    left_.remove_prefix(n);
  }
  template <class T>
  void one(std::optional<T>& value) {
    bool has = false;
    one(has);
    value.reset();
    if (!has || !ok_) return;
    T held{};
    one(held);
    value = held;
  }
  template <class T, std::size_t N>
  void one(std::array<T, N>& values) {
    for (T& value : values) one(value);
  }
  template <class T>
  void one(std::vector<T>& values) {
    const std::size_t n = count();
    values.clear();
    for (std::size_t i = 0; i < n && ok_; ++i) {
      values.emplace_back();
      one(values.back());
    }
  }
  template <class T>
  void one(Ring<T>& values) {
    const std::size_t n = count();
    values.clear();
    for (std::size_t i = 0; i < n && ok_; ++i) {
      T held{};
      one(held);
      values.push(held);
    }
  }

  std::string_view left_;
  bool ok_ = true;
};

}  // namespace fadeward
