// By how much daily values of one time stand above those of another, without assumptions about
// their distribution, and with neighbours that resemble each other taken into account.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace fadeward::estimate {

/// Values one a day; `days` rise and may have gaps. Both spans are equally long.
struct DailyValues {
  std::vector<double> days;
  std::vector<double> values;
  void add(double day, double value) {
    days.push_back(day);
    values.push_back(value);
  }
  std::size_t size() const { return values.size(); }
};

struct Shift {
  double difference = 0;  ///< median of all differences after - before (Hodges and Lehmann 1963)
  double low = 0;         ///< interval of that difference
  double high = 0;
  double p = 1;            ///< no difference: Mann and Whitney 1947, both sides
  double memory = 1;       ///< how many times the variance is that of independent days
  std::size_t before = 0;  ///< days on each side
  std::size_t after = 0;
};

inline constexpr std::size_t kLeastShiftDays = 7;

/// The interval lies between the ranks nm/2 -+ z sqrt(Var U) of the nm differences (Hollander and
/// Wolfe, Nonparametric Statistical Methods; from memory). Var U is that of independent values
/// times the variance inflation 1 + 2 sum (1 - k/n) r_k of a mean of values with memory, as Hamed
/// and Rao do for Mann-Kendall; r_k from both sides about their own medians up to the first that
/// does not differ from zero, and never less than a first-order process with r_1 freed from its
/// bias (Marriott and Pope 1954: (1 + 3 r)/n) would have. More than some hundred days a side are
/// thinned. Empty with fewer than `kLeastShiftDays` on a side.
std::optional<Shift> find_shift(const DailyValues& before, const DailyValues& after,
                                double confidence = 0.95);

/// The same of the differences between two days that belong together (the same day of two years):
/// median of their Walsh averages, Wilcoxon's signed ranks 1945, with the memory of the
/// differences.
std::optional<Shift> find_paired_shift(const DailyValues& differences, double confidence = 0.95);

}  // namespace fadeward::estimate
