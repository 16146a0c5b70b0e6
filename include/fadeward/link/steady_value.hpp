// A setting of the radio (power, rate): when has it really changed?
#pragma once

#include <cstdint>
#include <optional>

namespace fadeward::link {

/// Believes a new value after three equal reports in a row.
class SteadyValue {
 public:
  struct Change {
    double from = 0;
    double to = 0;
  };
  std::optional<Change> take(double value);
  std::optional<double> value() const { return current_; }

  template <class A>
  void archive(A& a) {
    a(current_, candidate_, count_);
  }

 private:
  std::optional<double> current_;
  double candidate_ = 0;
  std::uint8_t count_ = 0;
};

}  // namespace fadeward::link
