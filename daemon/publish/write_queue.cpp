#include "fadeward/publish/write_queue.hpp"

#include <algorithm>

namespace fadeward::publish {

void WriteQueue::begin(const WriteBatch& batch, std::size_t most_samples) {
  batch_ = &batch;
  pieces_.clear();
  refusals_ = in_a_row_ = 0;
  WritePiece next{0, 0, 0, batch.moments()};
  std::size_t held = 0;
  for (std::uint32_t i = 0; i < batch.series(); ++i) {
    const std::size_t more = batch.count({i, i + 1, 0, batch.moments()});
    if (held > 0 && held + more > most_samples) {
      next.last = i;
      pieces_.push_back(next);
      next.first = i;
      held = 0;
    }
    held += more;
  }
  next.last = batch.series();
  if (held > 0) pieces_.push_back(next);
}

void WriteQueue::accepted() {
  in_a_row_ = 0;
  pieces_.pop_front();
}

std::optional<WritePiece> WriteQueue::halve(bool by_time) {
  const WritePiece piece = pieces_.front();
  pieces_.pop_front();
  WritePiece lower = piece;
  WritePiece upper = piece;
  const bool several_moments = piece.to - piece.from > 1;
  const bool several_series = piece.last - piece.first > 1;
  if (several_moments && (by_time || !several_series)) {
    lower.to = upper.from = piece.from + (piece.to - piece.from) / 2;
  } else if (several_series) {
    lower.last = upper.first = piece.first + (piece.last - piece.first) / 2;
  } else {
    return piece;
  }
  for (const WritePiece& half : {lower, upper})
    if (batch_->count(half) > 0) pieces_.push_back(half);
  return {};
}

std::optional<WritePiece> WriteQueue::refused(bool by_time) {
  if (++refusals_ > kMostRefusals || ++in_a_row_ > kInARow) {
    const WritePiece piece = pieces_.front();
    pieces_.pop_front();
    return piece;
  }
  return halve(by_time);
}

std::optional<WritePiece> WriteQueue::too_large() { return halve(false); }

}  // namespace fadeward::publish
