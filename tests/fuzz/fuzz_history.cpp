// Pieces of the history: whatever a disk gives back is read or refused; what was read can be packed
// again.
#include <cstring>
#include <string>
#include <vector>

#include "fadeward/history/bin_code.hpp"
#include "fuzz/fuzz.hpp"
#include "unit/history/sample_bins.hpp"

namespace fadeward::fuzz {

namespace {

using test::at;
using test::kApril2031;

std::vector<std::string> made_seeds() {
  std::vector<std::string> out(4);
  test::BinMaker plain(1), hopping(2, 50);
  history::encode_bin(out[0], plain.make(at(kApril2031)));
  history::encode_bin(out[1], hopping.make(at(kApril2031), 20));
  history::HourOfBins hour;
  history::Summary summary;
  for (std::size_t i = 0; i < 4; ++i) {
    Bin bin = hopping.make(at(kApril2031) + kBinSpan * static_cast<int>(i));
    summary.merge(bin);
    bin.channels.clear();
    if (i != 1) hour.bins[i] = std::move(bin);
  }
  hour.channels = summary.channels;
  history::encode_hour(out[2], hour);
  history::encode_summary(out[3], summary);
  return out;
}

}  // namespace

std::span<const std::string_view> seeds() {
  static const std::vector<std::string> made = made_seeds();
  static const std::vector<std::string_view> views(made.begin(), made.end());
  return views;
}

namespace {

/// What bin_code.cpp writes into the first two bytes: damage is refused by it, and one piece in
/// 65536 comes further. To look at that one, it has to be right here.
std::uint16_t checksum(std::string_view bytes) {
  std::uint64_t h = 0x51ed270b + bytes.size();
  const auto mix = [&h](std::uint64_t word) {
    h = (h ^ word) * 0x9fb21c651e98df25U;
    h ^= h >> 31;
  };
  for (; bytes.size() >= 8; bytes.remove_prefix(8)) {
    std::uint64_t word = 0;
    for (int i = 7; i >= 0; --i)
      word = word << 8 | static_cast<unsigned char>(bytes[static_cast<std::size_t>(i)]);
    mix(word);
  }
  for (const char c : bytes) mix(static_cast<unsigned char>(c));
  return static_cast<std::uint16_t>(h >> 40);
}

}  // namespace
}  // namespace fadeward::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace fadeward;
  if (size < 3) return 0;
  std::vector<char> bytes(data, data + size);  // as long as it is: what reads beyond is found
  bytes[2] = static_cast<char>(1 + (bytes[2] & 0xff) % 3);
  const std::uint16_t sum = fuzz::checksum({bytes.data() + 2, size - 2});
  bytes[0] = static_cast<char>(sum & 0xff);
  bytes[1] = static_cast<char>(sum >> 8);
  const std::string_view piece(bytes.data(), size);
  const Time start = test::at(test::kApril2031);

  static history::PieceReader reader;
  history::Summary total;
  reader.visit(piece, start, [&](const history::Summary& part) {
    total.merge(part);
    fuzz::require(part.margin.cells().size() <= 32768, "what a piece takes is bounded");
    static_cast<void>(part.margin.quantile_db(0.01));
    static_cast<void>(part.margin.deviation_db());
  });
  std::string out;
  history::encode_summary(out, total);
  if (const auto bin = history::decode_bin(piece, start)) {
    out.clear();
    history::encode_bin(out, *bin);
    fuzz::require(history::decode_bin(out, start).has_value(), "a bin that was read can be kept");
  }
  if (const auto hour = history::decode_hour(piece, start)) {
    out.clear();
    history::encode_hour(out, *hour);
    fuzz::require(history::decode_hour(out, start).has_value(),
                  "an hour that was read can be kept");
  }
  return 0;
}
