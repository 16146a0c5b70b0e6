// Bins and summaries as compact bytes, and back.
//
// Each piece is [checksum, 2 bytes][kind, 1 byte][bits]. The bits are exponential Golomb codes (the
// k-th order codes of H.264 section 9.1; from memory) of counts, differences and remainders:
// histograms cell by cell from the lowest occupied one, their moments as what the middles of the
// cells do not tell. A quarter hour of ninety frames takes some 60 bytes.
#pragma once

#include <array>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/bin.hpp"
#include "fadeward/history/summary.hpp"

namespace fadeward::history {

/// Quarter hours of one hour by their place in it, and the channels of the whole hour. The bins'
/// own channel lists are empty.
struct HourOfBins {
  std::array<std::optional<Bin>, 4> bins;
  std::vector<ChannelTotal> channels;
};

/// One bin with its channels. All but `start` and the channels come back exactly; channels come
/// back in rising order, their means within an eighth of a decibel.
void encode_bin(std::string& out, const Bin& bin);
/// `start`: what it belongs to. Empty: damaged, or of another kind.
std::optional<Bin> decode_bin(std::string_view bytes, Time start);

void encode_hour(std::string& out, const HourOfBins& hour);
std::optional<HourOfBins> decode_hour(std::string_view bytes, Time start);

/// `start` and `span` are not in it.
void encode_summary(std::string& out, const Summary& summary);

/// Reads pieces of any kind. One thread; keeps its memory.
class PieceReader {
 public:
  using Visitor = const std::function<void(const Summary&)>&;

  PieceReader();
  ~PieceReader();
  PieceReader(PieceReader&&) noexcept;
  PieceReader& operator=(PieceReader&&) noexcept;

  /// Calls `visit` for what a piece holds: quarter hours for encode_bin and encode_hour (the
  /// channels of the hour with the last), one hour for encode_summary. The summary lives during the
  /// call. False: damaged; what was visited before stands.
  bool visit(std::string_view bytes, Time start, Visitor visit);

 private:
  struct State;
  std::unique_ptr<State> state_;
  Summary scratch_;
};

}  // namespace fadeward::history
