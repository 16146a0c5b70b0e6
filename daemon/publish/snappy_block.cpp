#include "fadeward/publish/snappy_block.hpp"

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <vector>

namespace fadeward::publish {

namespace {

// Tags of the format: the low two bits tell the kind.
constexpr unsigned kLiteral = 0;
constexpr unsigned kNearCopy = 1;  // 4 to 11 bytes, offset below 2048: two bytes
constexpr unsigned kFarCopy = 2;   // 1 to 64 bytes, offset below 65536: three bytes
constexpr std::size_t kNearReach = 2047;
constexpr std::size_t kNearMost = 11;
constexpr std::size_t kFarReach = 65535;
constexpr std::size_t kFarMost = 64;
constexpr std::size_t kLeast = 4;  // a shorter copy saves nothing

constexpr std::size_t kPiece = 32768;  ///< tags are chosen for this much at once
constexpr int kTries = 4;              ///< earlier places that are looked at
constexpr std::size_t kEnough = 48;    ///< as long as this, none is looked at

struct Copy {
  std::uint16_t offset = 0;
  std::uint8_t size = 0;  ///< 0: none
};
struct Copies {
  Copy far;
  Copy near;
};

/// Earlier places with the same bytes; asked for each place of the text in turn.
class Repetitions {
 public:
  explicit Repetitions(std::string_view text) : text_(text) {}

  /// None of them reaches beyond `end`.
  Copies at(std::size_t place, std::size_t end) {
    Copies out;
    const std::size_t most = std::min(end - place, kFarMost);
    take(out, before_.far.offset, known(before_.far, most), place, most);
    take(out, before_.near.offset, known(before_.near, most), place, most);
    if (place + kLeast <= text_.size()) search(out, place, most);
    before_ = out;
    return out;
  }

 private:
  static constexpr std::uint32_t kNowhere = 0xffffffff;
  static constexpr unsigned kBits = 14;

  /// One byte on, the copy of the place before is a byte shorter, if not longer again.
  static std::size_t known(Copy before, std::size_t most) {
    return std::min<std::size_t>(before.size == 0 ? 0 : before.size - 1U, most);
  }
  std::size_t same(std::size_t earlier, std::size_t place, std::size_t known,
                   std::size_t most) const {
    const char* a = text_.data() + earlier;
    const char* b = text_.data() + place;
    while (known + 8 <= most && std::memcmp(a + known, b + known, 8) == 0) known += 8;
    while (known < most && a[known] == b[known]) ++known;
    return known;
  }
  /// `known` bytes are the same for certain; offset 0: none.
  void take(Copies& out, std::size_t offset, std::size_t known, std::size_t place,
            std::size_t most) const {
    if (offset == 0) return;
    const std::size_t size = same(place - offset, place, known, most);
    if (size < kLeast) return;
    const auto keep = [offset](Copy& best, std::size_t length) {
      if (length > best.size)
        best = {static_cast<std::uint16_t>(offset), static_cast<std::uint8_t>(length)};
    };
    keep(out.far, size);
    if (offset <= kNearReach) keep(out.near, std::min(size, kNearMost));
  }
  void search(Copies& out, std::size_t place, std::size_t most) {
    std::uint32_t word = 0;
    std::memcpy(&word, text_.data() + place, sizeof word);
    std::uint32_t& newest = newest_[word * 0x9e3779b1U >> (32 - kBits)];
    std::uint32_t earlier = newest;
    for (int i = 0; i < kTries && out.far.size < std::min(kEnough, most); ++i) {
      if (earlier == kNowhere || place - earlier > kFarReach) break;
      take(out, place - earlier, 0, place, most);
      earlier = older_[earlier % older_.size()];
    }
    older_[place % older_.size()] = newest;
    newest = static_cast<std::uint32_t>(place);
  }

  const std::string_view text_;
  Copies before_;
  /// Places, by a hash of their first four bytes; and the place before each with the same hash.
  std::vector<std::uint32_t> newest_ =
      std::vector<std::uint32_t>(std::size_t{1} << kBits, kNowhere);
  std::vector<std::uint32_t> older_ = std::vector<std::uint32_t>(kFarReach + 1, kNowhere);
};

/// The tags for one piece that take the fewest bytes, chosen from its end. A copy as long as
/// possible is never worse than a shorter one: what is left to say is less.
class Tags {
 public:
  Tags(Repetitions& repetitions, std::size_t begin, std::size_t end)
      : begin_(begin), steps_(end - begin) {
    for (std::size_t i = begin; i < end; ++i) steps_[i - begin].copies = repetitions.at(i, end);
    Bytes rest;
    for (std::size_t i = steps_.size(); i-- > 0;) rest = choose(i, rest);
  }

  void write(std::string_view text, std::string& out) const {
    for (std::size_t i = 0; i < steps_.size();) {
      if (steps_[i].apart != kLiteral) {
        const Copy copy = copy_of(i, steps_[i].apart);
        write_copy(steps_[i].apart, copy, out);
        i += copy.size;
        continue;
      }
      const std::size_t first = i++;
      while (i < steps_.size() && steps_[i].joined == kLiteral) ++i;
      write_literal(text.substr(begin_ + first, i - first), out);
    }
  }

 private:
  /// What a place and all after it take.
  struct Bytes {
    std::uint16_t apart = 0;   ///< where no literal is open
    std::uint16_t joined = 0;  ///< where one is
  };
  struct Step {
    Copies copies;
    std::uint16_t bytes = 0;        ///< Bytes::apart
    std::uint8_t apart = kLiteral;  ///< the tag that is best
    std::uint8_t joined = kLiteral;
  };

  const Copy& copy_of(std::size_t i, unsigned kind) const {
    return kind == kNearCopy ? steps_[i].copies.near : steps_[i].copies.far;
  }
  std::uint16_t after(std::size_t i) const {
    return i < steps_.size() ? steps_[i].bytes : std::uint16_t{0};
  }

  Bytes choose(std::size_t i, Bytes rest) {
    Step& step = steps_[i];
    unsigned copy = UINT16_MAX;
    std::uint8_t kind = kLiteral;
    if (step.copies.far.size > 0) {
      copy = 3U + after(i + step.copies.far.size);
      kind = kFarCopy;
    }
    if (const unsigned near = 2U + after(i + step.copies.near.size);
        step.copies.near.size > 0 && near <= copy) {
      copy = near;
      kind = kNearCopy;
    }
    const unsigned joined = 1U + rest.joined;
    const unsigned apart = 1U + joined;
    step.joined = joined <= copy ? kLiteral : kind;
    step.apart = apart <= copy ? kLiteral : kind;
    step.bytes = static_cast<std::uint16_t>(std::min(apart, copy));
    return {step.bytes, static_cast<std::uint16_t>(std::min(joined, copy))};
  }

  static void write_copy(unsigned kind, Copy copy, std::string& out) {
    if (kind == kNearCopy) {
      out += static_cast<char>(kNearCopy | (copy.size - kLeast) << 2 | copy.offset >> 8 << 5);
    } else {
      out += static_cast<char>(kFarCopy | (copy.size - 1U) << 2);
      out += static_cast<char>(copy.offset & 0xff);
    }
    out += static_cast<char>(kind == kNearCopy ? copy.offset & 0xff : copy.offset >> 8);
  }
  /// Up to 60 bytes the tag tells the length; 60 and 61 in their place: one or two bytes do.
  static void write_literal(std::string_view bytes, std::string& out) {
    const std::size_t less = bytes.size() - 1;
    if (less < 60) {
      out += static_cast<char>(kLiteral | less << 2);
    } else if (less < 256) {
      out += static_cast<char>(kLiteral | 60 << 2);
      out += static_cast<char>(less);
    } else {
      out += static_cast<char>(kLiteral | 61 << 2);
      out += static_cast<char>(less & 0xff);
      out += static_cast<char>(less >> 8);
    }
    out += bytes;
  }

  const std::size_t begin_;
  std::vector<Step> steps_;
};

/// The size in front, seven bits a byte, the lowest first.
void write_size(std::size_t size, std::string& out) {
  for (; size >= 0x80; size >>= 7) out += static_cast<char>(size | 0x80);
  out += static_cast<char>(size);
}

}  // namespace

std::string snappy_block(std::string_view text) {
  std::string out;
  write_size(text.size(), out);
  Repetitions repetitions(text);
  for (std::size_t at = 0; at < text.size(); at += kPiece)
    Tags(repetitions, at, std::min(at + kPiece, text.size())).write(text, out);
  return out;
}

}  // namespace fadeward::publish
