#include "fadeward/history/margins.hpp"

#include <algorithm>

#include "fadeward/estimate/survivor_fit.hpp"

namespace fadeward::history {

namespace {

constexpr double kTrifle = 0.02;
constexpr std::uint64_t kLeastToFit = 30;

}  // namespace

Margins margins_of(const Summary& summary) {
  Margins out;
  out.median_db = summary.margin.quantile_db(0.5);
  out.low_db = summary.margin.quantile_db(0.01);
  out.high_db = summary.margin.quantile_db(0.99);
  if (summary.frames < kLeastToFit || summary.loss_ratio().value_or(0) <= kTrifle) return out;
  estimate::SurvivorLevels levels;
  const auto& cells = summary.margin.cells();
  for (std::size_t i = 0; i < cells.size(); ++i)
    if (cells[i] > 0)
      levels.add(static_cast<double>(summary.margin.first_cell() + static_cast<std::int64_t>(i)) *
                     LevelHistogram::kStepDb,
                 static_cast<float>(cells[i]));
  levels.finish();
  const auto fit = estimate::fit_survivors(
      levels,
      estimate::FrameCounts{static_cast<double>(summary.frames), static_cast<double>(summary.lost)},
      {}, {});
  if (!fit) return out;
  out.median_db = fit->median_db;
  out.low_db = std::min(fit->low_db, *out.low_db);
  return out;
}

}  // namespace fadeward::history
