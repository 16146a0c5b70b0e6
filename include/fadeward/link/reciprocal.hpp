// What one direction of a path says about the other: their signals differ by little that changes.
#pragma once

#include <cmath>

namespace fadeward::link {

/// The path is the same both ways, so the difference of both signals (outbound - inbound, transmit
/// powers taken out) stays for days. Kalman filter of a slow random walk; a difference far outside
/// what was expected is a fault at one end and begins anew.
class Reciprocal {
 public:
  /// Difference seen in one hour, dB, and its variance.
  void add(double difference_db, double variance);
  bool known() const { return variance_ > 0; }
  double difference_db() const { return difference_db_; }
  double variance() const { return variance_; }

  template <class A>
  void archive(A& a) {
    a(difference_db_, variance_);
    if constexpr (A::kReading) {
      if (!(std::abs(difference_db_) < 500 && variance_ >= 0 && variance_ < 1e4)) *this = {};
    }
  }

 private:
  double difference_db_ = 0;
  double variance_ = 0;  ///< 0: nothing known
};

}  // namespace fadeward::link
