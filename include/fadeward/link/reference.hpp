// The usual level of a quantity, slow and hard to mislead.
#pragma once

#include <cstdint>
#include <optional>

namespace fadeward::link {

/// Fed with the median of each quarter hour. The first day averages; after that a value pulls by at
/// most half a decibel with a time constant of a day, so that rain passes and a step is followed
/// only over days.
class Reference {
 public:
  void add_quarter(double median_db);
  /// Empty before the first four quarters.
  std::optional<double> level_db() const;

  template <class A>
  void archive(A& a) {
    a(level_, quarters_);
  }

 private:
  double level_ = 0;
  std::uint32_t quarters_ = 0;
};

}  // namespace fadeward::link
