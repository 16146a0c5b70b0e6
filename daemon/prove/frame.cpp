#include "fadeward/prove/frame.hpp"

#include <algorithm>
#include <array>
#include <span>

#include "fadeward/framing/crc.hpp"

namespace fadeward::prove {

namespace {

constexpr std::size_t kHeader = 33;
constexpr std::size_t kOverhead = 3;      // a code octet and two delimiters
constexpr std::size_t kZeroEvery = 128;   // runs without a zero stay below 254: one code octet only
constexpr std::uint32_t kMost24 = 0xFFFFFF;

class Writer {
 public:
  explicit Writer(std::uint8_t* at) : at_(at) {}
  void octet(std::uint32_t value) { *at_++ = static_cast<std::uint8_t>(value); }
  void three(std::uint32_t value) { little(std::min(value, kMost24), 3); }
  void four(std::uint32_t value) { little(value, 4); }
  std::uint8_t* at() const { return at_; }

 private:
  void little(std::uint32_t value, int octets) {
    for (int i = 0; i < octets; ++i) octet(value >> (8 * i));
  }
  std::uint8_t* at_;
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : bytes_(bytes) {}
  std::uint32_t three() { return little(3); }
  std::uint32_t four() { return little(4); }
  std::uint32_t octet() { return little(1); }

 private:
  std::uint32_t little(int octets) {
    std::uint32_t value = 0;
    for (int i = 0; i < octets; ++i)
      value |= static_cast<std::uint32_t>(static_cast<unsigned char>(bytes_[at_++])) << (8 * i);
    return value;
  }
  std::string_view bytes_;
  std::size_t at_ = 0;
};

/// xorshift (G. Marsaglia, 2003); the seed differs from frame to frame.
void fill(std::span<std::uint8_t> filler, std::uint32_t seed) {
  std::uint32_t state = seed * 2654435761U | 1U;
  for (std::size_t i = 0; i < filler.size(); ++i) {
    state ^= state << 13;
    state ^= state >> 17;
    state ^= state << 5;
    filler[i] = i % kZeroEvery == 0 ? 0 : static_cast<std::uint8_t>(state >> 24);
  }
}

void append_stuffed(std::span<const std::uint8_t> content, std::vector<std::uint8_t>& out) {
  std::size_t code_at = out.size();
  out.push_back(1);
  for (const std::uint8_t octet : content) {
    if (octet == 0) {
      code_at = out.size();
      out.push_back(1);
      continue;
    }
    out.push_back(octet);
    ++out[code_at];
  }
}

bool known(std::uint32_t kind) {
  return kind >= static_cast<std::uint32_t>(FrameKind::probe) &&
         kind <= static_cast<std::uint32_t>(FrameKind::answer);
}

}  // namespace

void append_frame(const Frame& frame, std::size_t size, std::vector<std::uint8_t>& out) {
  std::array<std::uint8_t, kLargestFrame> buffer;
  const std::size_t octets = std::clamp(size, kSmallestFrame, kLargestFrame) - kOverhead;
  Writer header(buffer.data());
  header.octet(static_cast<std::uint32_t>(frame.kind));
  header.four(frame.session);
  header.three(frame.number);
  header.four(frame.far.session);
  for (const std::uint32_t value :
       {frame.far.echoes, frame.far.first, frame.far.highest, frame.far.heard,
        frame.far.duplicates, frame.far.reordered, frame.far.corrupted})
    header.three(value);
  fill({header.at(), octets - kHeader - 4}, frame.session + 4 * frame.number +
                                                static_cast<std::uint32_t>(frame.kind));
  Writer check(buffer.data() + octets - 4);
  check.four(framing::crc32({buffer.data(), octets - 4}));
  out.push_back(0);
  append_stuffed({buffer.data(), octets}, out);
  out.push_back(0);
}

std::optional<Frame> read_frame(std::string_view content) {
  if (content.size() < kHeader) return {};
  Reader in(content);
  const std::uint32_t kind = in.octet();
  if (!known(kind)) return {};
  Frame frame;
  frame.kind = static_cast<FrameKind>(kind);
  frame.session = in.four();
  frame.number = in.three();
  FarCounts& far = frame.far;
  far.session = in.four();
  for (std::uint32_t* value : {&far.echoes, &far.first, &far.highest, &far.heard, &far.duplicates,
                               &far.reordered, &far.corrupted})
    *value = in.three();
  return frame;
}

}  // namespace fadeward::prove
