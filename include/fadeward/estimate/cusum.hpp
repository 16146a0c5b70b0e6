// Cumulative sums that find a lasting shift, and how long they take for it.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>

namespace fadeward::estimate {

/// C+ = max(0, C+ + x - k) and C- = max(0, C- - x - k) for values x in standard deviations from
/// their usual mean; a sum above h is a signal (Page 1954). `k`: half of the shift to be found. The
/// head start is where both sums begin (Lucas and Crosier 1982: h/2 finds a fault that is there
/// from the first value twice as fast).
class Cusum {
 public:
  enum class Signal { none, up, down };

  Cusum() = default;
  Cusum(double k, double h, double head_start = 0)
      : k_(k), h_(h), head_start_(head_start), up_(head_start), down_(head_start) {}

  /// Values that are not finite change nothing. After a signal the sums go on; `restart` begins
  /// anew.
  Signal add(double x) {
    if (std::isfinite(x)) {
      up_ = std::max(0.0, up_ + x - k_);
      down_ = std::max(0.0, down_ - x - k_);
    }
    if (up_ > h_ && up_ >= down_) return Signal::up;
    return down_ > h_ ? Signal::down : Signal::none;
  }
  void restart() { up_ = down_ = head_start_; }
  double up() const { return up_; }
  double down() const { return down_; }

  template <class A>
  void archive(A& a) {
    a(k_, h_, head_start_, up_, down_);
  }

 private:
  double k_ = 0.5;
  double h_ = 5;
  double head_start_ = 0;
  double up_ = 0;
  double down_ = 0;
};

struct CusumDesign {
  double k = 0.5;
  double h = 5;
  double head_start = 0;  ///< 0..h
};

/// Mean number of values until the upper sum signals when they are normal with deviation 1 and mean
/// `shift`: Fredholm's integral equation L(z) = 1 + L(0) Phi(k - z - shift) +
/// integral 0..h of L(y) phi(y + k - z - shift), solved on Gauss-Legendre nodes. Empty unless
/// 0 < h <= 40, k >= 0, the head start lies within 0..h and the result is below 10^12.
std::optional<double> cusum_run_length(const CusumDesign& design, double shift);

/// The same for both sums together (Lucas and Crosier 1982; exact where, with k >= 0 and no head
/// start, the two sums cannot signal at once).
std::optional<double> two_sided_cusum_run_length(const CusumDesign& design, double shift);

}  // namespace fadeward::estimate
