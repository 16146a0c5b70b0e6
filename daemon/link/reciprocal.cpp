#include "fadeward/link/reciprocal.hpp"

namespace fadeward::link {

namespace {
constexpr double kWalkVariancePerHour = 0.03 * 0.03;
constexpr double kSurprise = 3.5;  // deviations
}  // namespace

void Reciprocal::add(double difference_db, double variance) {
  if (!(variance > 0)) return;
  const double off = difference_db - difference_db_;
  if (!known() || off * off > kSurprise * kSurprise * (variance_ + variance)) {
    difference_db_ = difference_db;
    variance_ = variance;
    return;
  }
  const double before = variance_ + kWalkVariancePerHour;
  const double gain = before / (before + variance);
  difference_db_ += gain * off;
  variance_ = (1 - gain) * before;
}

}  // namespace fadeward::link
