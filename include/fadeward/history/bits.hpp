// Numbers as bits: what small blobs are made of.
#pragma once

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>
#include <cstring>
#include <limits>
#include <string>
#include <string_view>

namespace fadeward::history {

inline std::uint64_t zigzag(std::int64_t value) {
  return (static_cast<std::uint64_t>(value) << 1) ^ static_cast<std::uint64_t>(value >> 63);
}
inline std::int64_t unzigzag(std::uint64_t value) {
  return static_cast<std::int64_t>(value >> 1) ^ -static_cast<std::int64_t>(value & 1);
}

/// Most significant bit first.
class BitWriter {
 public:
  explicit BitWriter(std::string& out) : out_(out) {}
  ~BitWriter() { finish(); }
  BitWriter(const BitWriter&) = delete;
  BitWriter& operator=(const BitWriter&) = delete;

  /// The lowest `count` (0..64) bits of `value`.
  void bits(std::uint64_t value, int count) {
    if (count > 32) {
      few(value >> 32, count - 32);
      count = 32;
    }
    few(value & 0xffffffffU, count);
  }
  void flag(bool value) { few(value ? 1 : 0, 1); }
  /// Exponential Golomb code of order `k`: small numbers are short. Any value below 2^64 - 2^k.
  void golomb(std::uint64_t value, int k) {
    const std::uint64_t shifted = (value >> k) + 1;
    const int width = static_cast<int>(std::bit_width(shifted));
    bits(0, width - 1);
    bits(shifted, width);
    bits(value & ((std::uint64_t{1} << k) - 1), k);
  }
  static int golomb_size(std::uint64_t value, int k) {
    return 2 * static_cast<int>(std::bit_width((value >> k) + 1)) - 1 + k;
  }
  /// Six bits of length, then the number: for what may be anything.
  void sized(std::uint64_t value) {
    const int width = std::min(63, static_cast<int>(std::bit_width(value)));
    few(static_cast<std::uint64_t>(width), 6);
    bits(value, width == 63 ? 64 : width);
  }
  void finish() {
    if (held_ > 0) out_ += static_cast<char>(word_ << (8 - held_));
    held_ = 0;
    word_ = 0;
  }

 private:
  void few(std::uint64_t value, int count) {  // at most 32 at once, 7 held
    if (count == 0) return;
    word_ = word_ << count | (value & (~std::uint64_t{0} >> (64 - count)));
    held_ += count;
    while (held_ >= 8) {
      held_ -= 8;
      out_ += static_cast<char>(word_ >> held_ & 0xff);
    }
  }
  std::string& out_;
  std::uint64_t word_ = 0;
  int held_ = 0;
};

/// The order 0..7 that makes the codes of `values` shortest, found by going up until they grow.
template <class Values>
int best_order(const Values& values) {
  int best = 0, size = std::numeric_limits<int>::max();
  for (int k = 0; k < 8; ++k) {
    int sum = 0;
    for (const auto value : values) sum += BitWriter::golomb_size(value, k);
    if (sum >= size) break;
    size = sum;
    best = k;
  }
  return best;
}

/// Exponential Golomb codes of one order as they begin in the next ten bits: most cells of a
/// histogram take two to four bits, so that a look into the table gives some three at once.
struct GolombTable {
  static constexpr int kLookBits = 10;
  static constexpr unsigned kMost = 6;
  /// From the lowest byte: bits of all codes that are here whole, their count (0: not even the
  /// first), their values. One word, so that one store writes all values.
  std::array<std::uint64_t, std::size_t{1} << kLookBits> entries{};

  constexpr explicit GolombTable(int k) {
    for (std::size_t look = 0; look < entries.size(); ++look) {
      std::uint64_t values = 0;
      int bits = 0;
      unsigned count = 0;
      while (count < kMost) {
        const int left = kLookBits - bits;
        const auto rest = static_cast<unsigned>(look & ((std::size_t{1} << left) - 1));
        const int zeros = left - static_cast<int>(std::bit_width(rest));
        const int size = 2 * zeros + 1 + k;
        if (size > left) break;
        const std::uint64_t value = (rest >> (left - size)) - (1U << k);
        if (value > 0xff) break;
        values |= value << (8 * count++);
        bits += size;
      }
      entries[look] = values << 16 | std::uint64_t{count} << 8 | static_cast<unsigned>(bits);
    }
  }
};

inline constexpr int kGolombTables = 6;
/// Of the orders 0..5.
inline constexpr std::array<GolombTable, kGolombTables> kGolombCodes = {
    GolombTable(0), GolombTable(1), GolombTable(2), GolombTable(3), GolombTable(4), GolombTable(5)};

/// Reads beyond the end give zeros and `ok() == false`.
class BitReader {
 public:
  explicit BitReader(std::string_view bytes)
      : at_(reinterpret_cast<const unsigned char*>(bytes.data())), end_(at_ + bytes.size()) {}

  std::uint64_t bits(int count) {
    if (count <= 32) return few(count);
    const std::uint64_t high = few(count - 32);
    return high << 32 | few(32);
  }
  bool flag() { return few(1) != 0; }
  [[gnu::always_inline]] std::uint64_t golomb(int k) {
    if (held_ < 32) refill();
    const int zeros = std::countl_zero(word_);
    const int size = 2 * zeros + 1 + k;
    if (size > held_) [[unlikely]]
      return long_golomb(k);
    const std::uint64_t code = word_ >> (64 - size);
    word_ <<= size;
    held_ -= size;
    return code - (std::uint64_t{1} << k);
  }
  /// `count` codes of order `k`.
  void golombs(std::uint64_t* out, std::size_t count, int k) {
    // In registers: what is written could be the members, for all that the compiler knows.
    BitReader own = *this;
    for (std::size_t i = 0; i < count; ++i) out[i] = own.golomb(k);
    *this = own;
  }
  static constexpr std::size_t kByteRoom = 8;  ///< that golomb_bytes needs beyond `count`
  /// The same, several at a time. False: one is more than a byte holds; the reader is then behind
  /// it, and what was read has no meaning.
  bool golomb_bytes(std::uint8_t* out, std::size_t count, int k) {
    BitReader own = *this;
    const bool small = own.bytes_in_registers(out, count, k);
    *this = own;
    return small;
  }
  std::uint64_t sized() {
    const int width = static_cast<int>(few(6));
    return bits(width == 63 ? 64 : width);
  }
  bool ok() const { return ok_; }

 private:
  [[gnu::always_inline]] bool bytes_in_registers(std::uint8_t* out, std::size_t count, int k) {
    const std::uint64_t* const entries =
        k < kGolombTables ? kGolombCodes[static_cast<std::size_t>(k)].entries.data() : nullptr;
    while (count > 0) {
      if (held_ < kLooks * GolombTable::kLookBits) refill();
      if (entries != nullptr && held_ >= kLooks * GolombTable::kLookBits) {
        std::uint64_t word = word_;
        int taken = 0;
        bool all = true;
#pragma GCC unroll 3
        for (int look = 0; look < kLooks; ++look) {
          const std::uint64_t entry = entries[word >> (64 - GolombTable::kLookBits)];
          const std::size_t codes = entry >> 8 & 0xff;
          if (codes - 1 >= count) {  // none, or more than wanted
            all = false;
            break;
          }
          put_bytes(out, entry >> 16);
          out += codes;
          count -= codes;
          word <<= entry & 0xff;
          taken += static_cast<int>(entry & 0xff);
        }
        word_ = word;
        held_ -= taken;
        if (all || count == 0) continue;
      }
      const std::uint64_t value = golomb(k);
      if (value > 0xff) return false;
      *out++ = static_cast<std::uint8_t>(value);
      --count;
    }
    return true;
  }
  static void put_bytes(std::uint8_t* out, std::uint64_t bytes) {
    if constexpr (std::endian::native == std::endian::big) bytes = __builtin_bswap64(bytes);
    std::memcpy(out, &bytes, sizeof bytes);
  }
  std::uint64_t long_golomb(int k) {
    int zeros = 0;
    while (zeros < 64 && few(1) == 0 && ok_) ++zeros;
    if (zeros == 64 || !ok_) {
      ok_ = false;
      return 0;
    }
    const std::uint64_t shifted = (std::uint64_t{1} << zeros) | bits(zeros);
    return (shifted - 1) << k | bits(k);
  }
  [[gnu::always_inline]] void refill() {
    if (end_ - at_ >= 8) {  // eight bytes at once; those that do not fit are read again
      std::uint64_t next = 0;
      std::memcpy(&next, at_, 8);
      if constexpr (std::endian::native == std::endian::little) next = __builtin_bswap64(next);
      word_ |= next >> held_;
      const int bytes = (63 - held_) >> 3;
      at_ += bytes;
      held_ += 8 * bytes;
      return;
    }
    while (held_ < 56 && at_ < end_) {  // at most 63, as above: a shift by 64 has no meaning
      word_ |= std::uint64_t{*at_++} << (56 - held_);
      held_ += 8;
    }
  }
  std::uint64_t few(int count) {
    if (count == 0) return 0;
    if (held_ < count) refill();
    if (held_ < count) {
      ok_ = false;
      held_ = 0;
      word_ = 0;
      return 0;
    }
    const std::uint64_t value = word_ >> (64 - count);
    word_ <<= count;
    held_ -= count;
    return value;
  }
  static constexpr int kLooks = 3;  ///< into a table, for one refill

  const unsigned char* at_;
  const unsigned char* end_;
  std::uint64_t word_ = 0;  ///< the next bits at the top; below them zeros
  int held_ = 0;
  bool ok_ = true;
};

}  // namespace fadeward::history
