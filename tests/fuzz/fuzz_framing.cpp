// Framers: the same frames and the same counts however the stream is split, nothing lost without a
// count, no frame above the limit.
#include <memory>
#include <numeric>
#include <string>
#include <vector>

#include "fadeward/framing/framer.hpp"
#include "fuzz/fuzz.hpp"

namespace fadeward::fuzz {

std::span<const std::string_view> seeds() {
  using namespace std::string_view_literals;
  static constexpr std::string_view kSeeds[] = {
      "\x00"
      "first\nsecond\r\nthird\rlast"sv,
      "\x01"
      "a=1\nb=2\nEND\nc=3\nEND\n"sv,
      "\x02\x06"
      "12345\x05"
      "6789\x00\x01\x01\x00\x02x\x00"sv,
      "\x03\x0c"
      "123456789\x6e\x90\x00\x03"
      "ab\x00"sv,
      "\x04~123456789\x6e\x90~\x7d\x5e\x7d\x5d~abc}~"sv,
  };
  return kSeeds;
}

namespace {

constexpr std::size_t kLimit = 64;

struct Sink final : framing::FrameSink {
  std::vector<std::string> frames;
  std::uint64_t lost[kDiscardReasons] = {};
  void frame(std::string_view bytes) override {
    require(!bytes.empty(), "no frame is empty");
    require(bytes.size() <= kLimit, "no frame is longer than the limit");
    frames.emplace_back(bytes);
  }
  void discarded(DiscardReason reason, std::uint64_t bytes) override {
    require(bytes > 0, "a discard counts something");
    lost[static_cast<std::size_t>(reason)] += bytes;
  }
};

FramingSettings settings(unsigned kind) {
  FramingSettings out;
  out.max_bytes = kLimit;
  switch (kind % 5) {
    case 1: out.block_end = "END"; break;
    case 2: out.kind = FramingSettings::Kind::cobs; break;
    case 3:
      out.kind = FramingSettings::Kind::cobs;
      out.crc = FramingSettings::Crc::crc16_x25;
      break;
    case 4: out.kind = FramingSettings::Kind::hdlc; break;
    default: break;
  }
  return out;
}

framing::Framer& framer(unsigned kind) {
  static std::unique_ptr<framing::Framer> made[5];
  auto& slot = made[kind % 5];
  if (!slot) slot = std::move(framing::make_framer(settings(kind))).value();
  return *slot;
}

}  // namespace
}  // namespace fadeward::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace fadeward::fuzz;
  if (size == 0) return 0;
  auto& framer = fadeward::fuzz::framer(data[0]);
  const std::span<const std::uint8_t> stream(data + 1, size - 1);
  framer.reset();
  Sink whole, pieces;
  framer.feed(stream, whole);
  const std::size_t tail = framer.flush(whole);
  std::size_t step = 1;
  for (std::size_t at = 0; at < stream.size(); at += step, step = 1 + (step * 7 + at) % 13)
    framer.feed(stream.subspan(at, std::min(step, stream.size() - at)), pieces);
  require(framer.flush(pieces) == tail, "a cut tail does not depend on how the stream is split");
  require(whole.frames == pieces.frames, "frames do not depend on how the stream is split");
  for (std::size_t i = 0; i < fadeward::kDiscardReasons; ++i)
    require(whole.lost[i] == pieces.lost[i], "counts do not depend on how the stream is split");
  const std::uint64_t lost =
      std::accumulate(std::begin(whole.lost), std::end(whole.lost), std::uint64_t{0});
  require(lost + tail <= stream.size(), "nothing is counted twice");
  return 0;
}
