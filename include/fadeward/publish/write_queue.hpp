// The requests that one batch becomes, and how a sample that can never be taken is found in it.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>

#include "fadeward/publish/write_batch.hpp"

namespace fadeward::publish {

/// Pieces of one batch, one at a time. Where a piece is refused it is halved and both halves are
/// tried behind the others (so a batch that is bad as a whole shows early); what is refused alone
/// is given up. After kMostRefusals of one batch, or kInARow without a success between, whatever is
/// refused is given up as a whole: a server that takes nothing is not asked forever. Pure.
///
/// The order of time holds between the pieces of a series only as long as nothing is refused:
/// batches for servers without an out-of-order window hold a single moment.
class WriteQueue {
 public:
  static constexpr std::size_t kMostSamples = 5000;  ///< of one request
  static constexpr int kMostRefusals = 64;
  static constexpr int kInARow = 12;

  /// Cuts the batch into pieces by series. It outlives the queue.
  void begin(const WriteBatch& batch, std::size_t most_samples = kMostSamples);
  void clear() { pieces_.clear(); }

  bool empty() const { return pieces_.empty(); }
  const WritePiece& front() const { return pieces_.front(); }

  /// The front was taken.
  void accepted();
  /// The front was refused for something in it; `by_time`: for the times of its samples. Gives the
  /// piece that is given up, if any.
  std::optional<WritePiece> refused(bool by_time);
  /// The front has too many bytes.
  std::optional<WritePiece> too_large();

 private:
  std::optional<WritePiece> halve(bool by_time);

  const WriteBatch* batch_ = nullptr;
  std::deque<WritePiece> pieces_;
  int refusals_ = 0;
  int in_a_row_ = 0;
};

}  // namespace fadeward::publish
