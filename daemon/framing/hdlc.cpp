#include "fadeward/framing/hdlc.hpp"

#include <cstring>

#include "fadeward/framing/crc.hpp"

namespace fadeward::framing {

namespace {

constexpr std::uint8_t kFlag = 0x7e;
constexpr std::uint8_t kEscape = 0x7d;
constexpr std::uint8_t kFlip = 0x20;
constexpr std::size_t kFcsSize = 2;
constexpr std::size_t kShortest = 4;  // RFC 1662 section 4.3, with a 16-bit FCS

/// False if the octets end inside an escape.
bool unescape(std::span<const std::uint8_t> raw, std::vector<std::uint8_t>& out) {
  out.clear();
  while (!raw.empty()) {
    const void* found = std::memchr(raw.data(), kEscape, raw.size());
    const std::size_t run =
        found ? static_cast<std::size_t>(static_cast<const std::uint8_t*>(found) - raw.data())
              : raw.size();
    out.insert(out.end(), raw.begin(), raw.begin() + static_cast<std::ptrdiff_t>(run));
    raw = raw.subspan(run);
    if (raw.empty()) break;
    if (raw.size() < 2) return false;
    out.push_back(raw[1] ^ kFlip);
    raw = raw.subspan(2);
  }
  return true;
}

}  // namespace

HdlcFramer::HdlcFramer(std::size_t max_bytes)
    : max_bytes_(max_bytes), pieces_(kFlag, 2 * (max_bytes + kFcsSize)) {}

HdlcFramer::Verdict HdlcFramer::judge(std::span<const std::uint8_t> raw) {
  if (raw.empty()) return Verdict::fill;
  if (hunting_) return Verdict::garbage;
  std::span<const std::uint8_t> octets = raw;
  if (std::memchr(raw.data(), kEscape, raw.size()) != nullptr) {
    if (!unescape(raw, unescaped_)) return Verdict::aborted;
    octets = unescaped_;
  }
  if (octets.size() < kShortest) return Verdict::garbage;
  if (!crc_matches(FramingSettings::Crc::crc16_x25, octets)) return Verdict::checksum;
  content_ = octets.first(octets.size() - kFcsSize);
  return content_.size() > max_bytes_ ? Verdict::too_long : Verdict::frame;
}

void HdlcFramer::piece(std::span<const std::uint8_t> raw, FrameSink& sink) {
  switch (judge(raw)) {
    case Verdict::frame:
      sink.frame({reinterpret_cast<const char*>(content_.data()), content_.size()});
      break;
    case Verdict::fill: break;
    case Verdict::garbage: sink.discarded(DiscardReason::garbage, raw.size()); break;
    case Verdict::checksum: sink.discarded(DiscardReason::checksum, raw.size()); break;
    case Verdict::aborted: sink.discarded(DiscardReason::aborted, raw.size()); break;
    case Verdict::too_long: sink.discarded(DiscardReason::too_long, raw.size()); break;
  }
  hunting_ = false;
}

void HdlcFramer::feed(std::span<const std::uint8_t> bytes, FrameSink& sink) {
  pieces_.feed(
      bytes, [&](std::span<const std::uint8_t> raw) { piece(raw, sink); },
      [&](std::size_t count) {
        sink.discarded(hunting_ ? DiscardReason::garbage : DiscardReason::too_long, count);
      });
}

std::size_t HdlcFramer::flush(FrameSink& sink) {
  if (judge(pieces_.held()) != Verdict::frame) return reset();
  sink.frame({reinterpret_cast<const char*>(content_.data()), content_.size()});
  reset();
  return 0;
}

std::size_t HdlcFramer::reset() {
  const std::size_t held = pieces_.held().size();
  pieces_.clear();
  hunting_ = true;
  return held;
}

}  // namespace fadeward::framing
