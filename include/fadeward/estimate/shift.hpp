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

/// The interval lies between the ranks nm/2 -+ t sqrt(Var U) of the nm differences (Hollander and
/// Wolfe, Nonparametric Statistical Methods; from memory). Var U is that of independent values
/// times the variance inflation 1 + 2 sum (1 - k/n) r_k of a mean of values with memory, as Hamed
/// and Rao do for Mann-Kendall, with the pairs of a lag that there are in place of 1 - k/n. r_k
/// come from both sides, each about its own median, up to the first that does not differ from zero;
/// from there they go on falling as before, and the sum is never less than that of a first-order
/// process with r_1. As each side lost its mean, the variance of that mean is given back to them
/// (Marriott and Pope 1954, solved by rounds). t is Student's with as many degrees of freedom as
/// there would be independent values that tell as much, less the means: few days know little of
/// their own memory. More than some hundred days a side are thinned. Empty with fewer than
/// `kLeastShiftDays` on a side.
///
/// `weather`: series of the same weather, each with a level of its own, from which its memory is
/// taken then instead of from both sides. Weather that remembers for as long as the series last is
/// taken to be calmer than it is.
std::optional<Shift> find_shift(const DailyValues& before, const DailyValues& after,
                                double confidence = 0.95,
                                std::span<const DailyValues> weather = {});

/// The same of the differences between two days that belong together (the same day of two years):
/// median of their Walsh averages, Wilcoxon's signed ranks 1945, with the memory of the
/// differences.
std::optional<Shift> find_paired_shift(const DailyValues& differences, double confidence = 0.95,
                                       std::span<const DailyValues> weather = {});

}  // namespace fadeward::estimate
