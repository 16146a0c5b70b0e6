#include "fadeward/framing/cobs.hpp"

#include <cstring>

#include "fadeward/framing/crc.hpp"

namespace fadeward::framing {

namespace {

constexpr std::size_t kLongestRun = 254;  // octets of content that one code octet can announce

/// The most octets that `content` octets take: one code octet per full run and one more.
constexpr std::size_t encoded_limit(std::size_t content) {
  return content + content / kLongestRun + 1;
}

}  // namespace

bool cobs_decode(std::span<const std::uint8_t> encoded, std::vector<std::uint8_t>& decoded) {
  decoded.clear();
  if (encoded.empty()) return false;
  for (std::size_t at = 0; at < encoded.size();) {
    const std::size_t code = encoded[at++];
    if (code == 0 || code - 1 > encoded.size() - at) return false;
    const auto run = encoded.subspan(at, code - 1);
    if (!run.empty() && std::memchr(run.data(), 0, run.size()) != nullptr) return false;
    decoded.insert(decoded.end(), run.begin(), run.end());
    at += run.size();
    if (code <= kLongestRun && at < encoded.size()) decoded.push_back(0);
  }
  return true;
}

CobsFramer::CobsFramer(std::size_t max_bytes, FramingSettings::Crc crc)
    : max_bytes_(max_bytes), crc_(crc), pieces_(0, encoded_limit(max_bytes + crc_size(crc))) {}

CobsFramer::Verdict CobsFramer::judge(std::span<const std::uint8_t> encoded) {
  if (encoded.empty()) return Verdict::fill;
  if (!cobs_decode(encoded, decoded_)) return Verdict::encoding;
  if (decoded_.empty()) return Verdict::fill;
  if (!crc_matches(crc_, decoded_)) return Verdict::checksum;
  decoded_.resize(decoded_.size() - crc_size(crc_));
  if (decoded_.size() > max_bytes_) return Verdict::too_long;
  return decoded_.empty() ? Verdict::fill : Verdict::frame;
}

void CobsFramer::piece(std::span<const std::uint8_t> encoded, FrameSink& sink) {
  switch (judge(encoded)) {
    case Verdict::frame:
      sink.frame({reinterpret_cast<const char*>(decoded_.data()), decoded_.size()});
      break;
    case Verdict::fill: break;
    case Verdict::encoding: sink.discarded(DiscardReason::encoding, encoded.size()); break;
    case Verdict::checksum: sink.discarded(DiscardReason::checksum, encoded.size()); break;
    case Verdict::too_long: sink.discarded(DiscardReason::too_long, encoded.size()); break;
  }
}

void CobsFramer::feed(std::span<const std::uint8_t> bytes, FrameSink& sink) {
  pieces_.feed(
      bytes, [&](std::span<const std::uint8_t> encoded) { piece(encoded, sink); },
      [&](std::size_t count) { sink.discarded(DiscardReason::too_long, count); });
}

std::size_t CobsFramer::flush(FrameSink& sink) {
  if (judge(pieces_.held()) != Verdict::frame) return reset();
  sink.frame({reinterpret_cast<const char*>(decoded_.data()), decoded_.size()});
  reset();
  return 0;
}

std::size_t CobsFramer::reset() {
  const std::size_t held = pieces_.held().size();
  pieces_.clear();
  return held;
}

}  // namespace fadeward::framing
