#include "fadeward/history/levels.hpp"

#include <cmath>

#include "histogram_parts.hpp"

namespace fadeward::history {

namespace {

constexpr std::int64_t kStepCdb = 50;

std::int64_t cell_of(std::int64_t level_cdb) {
  const std::int64_t shifted = level_cdb + kStepCdb / 2;
  return shifted >= 0 ? shifted / kStepCdb : -((-shifted + kStepCdb - 1) / kStepCdb);
}

}  // namespace

/// Room grows by some cells more than asked for: the next value is near this one.
void Levels::make_room(std::int64_t first, std::int64_t last) {
  constexpr std::int64_t kMore = 8;
  const auto size = static_cast<std::int64_t>(cells_.size());
  if (size > 0 && first >= first_cell_ && last < first_cell_ + size) return;
  if (size == 0) {
    first_cell_ = first;
    cells_.resize(static_cast<std::size_t>(last - first + 1));
    return;
  }
  const std::int64_t low = first < first_cell_ ? first - kMore : first_cell_;
  const std::int64_t end = last >= first_cell_ + size ? last + 1 + kMore : first_cell_ + size;
  cells_.insert(cells_.begin(), static_cast<std::size_t>(first_cell_ - low), 0);
  cells_.resize(static_cast<std::size_t>(end - low));
  first_cell_ = low;
}

void Levels::add(double level_db, std::uint64_t weight) {
  if (weight == 0) return;
  const std::int64_t level_cdb = std::llround(std::clamp(level_db, -4000.0, 4000.0) * 100);
  const auto times = static_cast<std::int64_t>(weight);
  add_cells(cell_of(level_cdb), &weight, 1, weight, times * level_cdb,
            times * level_cdb * level_cdb);
}

void Levels::merge(const LevelHistogram& other) {
  if (other.total() == 0) return;
  const HistogramParts parts = parts_of(other);
  std::size_t first = 0, end = parts.counts.size();
  while (first < end && parts.counts[first] == 0) ++first;
  while (end > first && parts.counts[end - 1] == 0) --end;
  add_cells(parts.first_cell + static_cast<std::int64_t>(first), parts.counts.data() + first,
            end - first, parts.total, parts.sum_cdb, parts.sum_square_cdb);
}

void Levels::merge(const Levels& other) {
  std::size_t first = 0, end = other.cells_.size();
  while (first < end && other.cells_[first] == 0) ++first;
  while (end > first && other.cells_[end - 1] == 0) --end;
  add_cells(other.first_cell_ + static_cast<std::int64_t>(first), other.cells_.data() + first,
            end - first, other.total_, other.sum_cdb_, other.sum_square_cdb_);
}

void Levels::clear() {
  cells_.clear();
  first_cell_ = 0;
  total_ = 0;
  sum_cdb_ = sum_square_cdb_ = 0;
}

bool Levels::operator==(const Levels& other) const {
  if (total_ != other.total_ || sum_cdb_ != other.sum_cdb_ ||
      sum_square_cdb_ != other.sum_square_cdb_)
    return false;
  const std::int64_t low = std::min(first_cell_, other.first_cell_);
  const std::int64_t end =
      std::max(first_cell_ + static_cast<std::int64_t>(cells_.size()),
               other.first_cell_ + static_cast<std::int64_t>(other.cells_.size()));
  const auto at = [](const Levels& levels, std::int64_t cell) {
    const std::int64_t i = cell - levels.first_cell_;
    return i < 0 || i >= static_cast<std::int64_t>(levels.cells_.size())
               ? 0
               : levels.cells_[static_cast<std::size_t>(i)];
  };
  for (std::int64_t cell = low; cell < end; ++cell)
    if (at(*this, cell) != at(other, cell)) return false;
  return true;
}

std::optional<double> Levels::mean_db() const {
  if (total_ == 0) return {};
  return static_cast<double>(sum_cdb_) / 100 / static_cast<double>(total_);
}

std::optional<double> Levels::deviation_db() const {
  if (total_ < 2) return {};
  const auto total = static_cast<double>(total_);
  const double mean = static_cast<double>(sum_cdb_) / total;
  const double variance = std::max(0.0, static_cast<double>(sum_square_cdb_) / total - mean * mean);
  return std::sqrt(variance * total / (total - 1)) / 100;
}

}  // namespace fadeward::history
