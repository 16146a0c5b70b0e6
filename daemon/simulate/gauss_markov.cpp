#include "fadeward/simulate/gauss_markov.hpp"

#include <cmath>

namespace fadeward::simulate {

GaussMarkov::GaussMarkov(double sd_db, Duration time_constant, Time start, Random random)
    : random_(random),
      keep_(std::exp(-duration_to_seconds(kGrid) / duration_to_seconds(time_constant))),
      innovation_(sd_db * std::sqrt(1.0 - keep_ * keep_)),
      from_(start),
      value_(sd_db * random_.normal()),
      next_(keep_ * value_ + innovation_ * random_.normal()) {}

double GaussMarkov::at(Time time) {
  if (time <= from_) return value_;
  while (time >= from_ + kGrid) step();
  const double share =
      static_cast<double>((time - from_).count()) / static_cast<double>(kGrid.count());
  return value_ + (next_ - value_) * share;
}

void GaussMarkov::step() {
  from_ += kGrid;
  value_ = next_;
  next_ = keep_ * value_ + innovation_ * random_.normal();
}

}  // namespace fadeward::simulate
