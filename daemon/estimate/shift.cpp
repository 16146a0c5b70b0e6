#include "fadeward/estimate/shift.hpp"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <numbers>

#include "fadeward/estimate/median.hpp"

namespace fadeward::estimate {

namespace {

constexpr std::size_t kMostDays = 300;  ///< a side; 90,000 differences
constexpr std::size_t kMostLags = 60;
constexpr double kMostCorrelation = 0.93;
constexpr double kSlowest = 0.97;  ///< by which a correlation falls from day to day
constexpr double kWildest = 3;     ///< deviations; rain must not hide the memory of the rest

/// What is left about the median, wild values pulled in, their mean removed.
std::vector<double> residuals_of(const DailyValues& side) {
  std::vector<double> out(side.values), sizes(side.values);
  const double middle = median_of(sizes);
  sizes.clear();
  for (double& value : out) {
    value -= middle;
    sizes.push_back(std::abs(value));
  }
  const double most = kWildest * 1.4826 * median_of(sizes);
  double sum = 0;
  for (double& value : out) {
    if (most > 0) value = std::clamp(value, -most, most);
    sum += value;
  }
  for (double& value : out) value -= sum / static_cast<double>(out.size());
  return out;
}

struct Lag {
  double products = 0;
  double pairs = 0;
};

void collect_lags(const DailyValues& side, std::vector<Lag>& lags) {
  const auto left = residuals_of(side);
  for (std::size_t i = 0; i < left.size(); ++i)
    for (std::size_t j = i; j < left.size(); ++j) {
      const auto lag = static_cast<std::size_t>(side.days[j] - side.days[i]);
      if (lag >= lags.size()) break;
      lags[lag].products += left[i] * left[j];
      lags[lag].pairs += 1;
    }
}

constexpr double kNoDoubt = 1e6;

struct Memory {
  double times = 1;    ///< variance of a mean over that of independent values
  double freedom = 1;  ///< how many independent values would tell as much, less the means taken
};

/// Correlations of all lags, freed from what the means taken off the residuals hide of them: the
/// variance of such a mean, as a share of that of the values.
class Correlations {
 public:
  explicit Correlations(const std::vector<Lag>& lags) : lags_(lags), count_(lags[0].pairs) {}
  double count() const { return count_; }
  double variance() const { return count_ > 0 ? lags_[0].products / count_ : 0; }
  /// Pairs of a lag for each value: fewer at the ends and where days are missing.
  double share(std::size_t k) const { return k < lags_.size() ? lags_[k].pairs / count_ : 0; }
  double at(std::size_t k, double hidden) const {
    if (k >= lags_.size() || lags_[k].pairs < kLeastPairs) return 0;
    const double seen = lags_[k].products / lags_[k].pairs / variance();
    return seen + hidden * (1 - seen);
  }

 private:
  static constexpr double kLeastPairs = 4;
  const std::vector<Lag>& lags_;
  double count_;
};

/// Sum over the lags of a correlation that falls by `ratio` from one to the next.
double geometric_sum(const Correlations& of, std::size_t from, double first, double ratio) {
  double sum = 0;
  for (std::size_t k = from; k < kMostLags && first > 1e-3; ++k, first *= ratio)
    sum += of.share(k) * first;
  return sum;
}

constexpr std::size_t kLeastLags = 3;  ///< that tell how fast a correlation falls

double inflation_of(const Correlations& of, double hidden) {
  const double least = 1.96 / std::sqrt(of.count());
  const double first = std::clamp(of.at(1, hidden), 0.0, kMostCorrelation);
  double sum = 0, last = 0;
  std::size_t k = 1;
  for (; k < kMostLags; ++k) {
    const double r = of.at(k, hidden);
    if (!(r > least)) break;
    sum += of.share(k) * r;
    last = r;
  }
  // The lags that chance hides go on falling as those before them did.
  if (k > kLeastLags) {
    const std::size_t end = k - 1, middle = (end + 1) / 2;
    const double ratio =
        std::pow(last / of.at(middle, hidden), 1 / static_cast<double>(end - middle));
    const double held = std::min(ratio, kSlowest);
    sum += geometric_sum(of, k, last * held, held);
  }
  return std::max({1.0, 1 + 2 * sum, 1 + 2 * geometric_sum(of, 1, first, first)});
}

Memory memory_of(const std::vector<const DailyValues*>& sides) {
  std::vector<Lag> lags(kMostLags);
  for (const DailyValues* side : sides) collect_lags(*side, lags);
  const Correlations correlations(lags);
  const double n = correlations.count(), means = static_cast<double>(sides.size());
  Memory out;
  // What is hidden depends on the answer: a few rounds settle it.
  constexpr int kRounds = 4;
  constexpr double kMostHidden = 0.2;
  if (correlations.variance() > 0)
    for (int round = 0; round < kRounds; ++round)
      out.times = inflation_of(correlations, std::min(kMostHidden, out.times * means / n));
  // Where no day has a neighbour they are independent, and the tables of ranks hold.
  out.freedom = lags[1].pairs > 0 ? std::max(1.0, n / out.times - means) : kNoDoubt;
  return out;
}

Memory memory_of(std::span<const DailyValues> weather,
                 const std::vector<const DailyValues*>& otherwise) {
  std::vector<const DailyValues*> sides;
  for (const DailyValues& one : weather)
    if (one.size() >= kLeastShiftDays && one.days.size() == one.size()) sides.push_back(&one);
  return memory_of(sides.empty() ? otherwise : sides);
}

double deviations_of(double confidence, double freedom) {
  const double kept = std::clamp(confidence, 0.0, 0.999999);
  return boost::math::quantile(boost::math::students_t{freedom}, 0.5 + kept / 2);
}

std::vector<double> thinned(const std::vector<double>& values, std::size_t step) {
  std::vector<double> out;
  for (std::size_t i = 0; i < values.size(); i += step) out.push_back(values[i]);
  return out;
}

double at_rank(std::vector<double>& values, double rank) {
  const auto whole = static_cast<std::ptrdiff_t>(
      std::clamp(std::round(rank), 1.0, static_cast<double>(values.size())));
  std::nth_element(values.begin(), values.begin() + whole - 1, values.end());
  return values[static_cast<std::size_t>(whole - 1)];
}

}  // namespace

std::optional<Shift> find_shift(const DailyValues& before, const DailyValues& after,
                                double confidence, std::span<const DailyValues> weather) {
  if (before.size() < kLeastShiftDays || after.size() < kLeastShiftDays ||
      before.days.size() != before.size() || after.days.size() != after.size())
    return {};
  Shift out;
  out.before = before.size();
  out.after = after.size();
  const Memory memory = memory_of(weather, {&before, &after});
  out.memory = memory.times;
  const std::size_t step =
      std::max<std::size_t>(1, (std::max(out.before, out.after) + kMostDays - 1) / kMostDays);
  const auto first = thinned(before.values, step), second = thinned(after.values, step);
  const auto n = static_cast<double>(first.size()), m = static_cast<double>(second.size());
  std::vector<double> differences;
  differences.reserve(first.size() * second.size());
  double above = 0;
  for (const double a : first)
    for (const double b : second) {
      differences.push_back(b - a);
      above += b > a ? 1 : b == a ? 0.5 : 0;
    }
  const double inflation = std::max(1.0, out.memory / static_cast<double>(step));
  const double deviation = std::sqrt(n * m * (n + m + 1) / 12 * inflation);
  const double z = deviations_of(confidence, memory.freedom);
  out.difference = median_of(differences);
  out.low = at_rank(differences, n * m / 2 - z * deviation);
  out.high = at_rank(differences, n * m / 2 + z * deviation + 1);
  const double away = std::max(0.0, std::abs(above - n * m / 2) - 0.5) / deviation;
  out.p = std::erfc(away / std::numbers::sqrt2);
  return out;
}

std::optional<Shift> find_paired_shift(const DailyValues& differences, double confidence,
                                       std::span<const DailyValues> weather) {
  if (differences.size() < kLeastShiftDays || differences.days.size() != differences.size())
    return {};
  Shift out;
  out.before = out.after = differences.size();
  const Memory memory = memory_of(weather, {&differences});
  out.memory = memory.times;
  const std::size_t step = (out.before + kMostDays - 1) / kMostDays;
  const auto kept = thinned(differences.values, step);
  const auto n = static_cast<double>(kept.size());
  std::vector<double> averages;
  double above = 0;
  for (std::size_t i = 0; i < kept.size(); ++i)
    for (std::size_t j = i; j < kept.size(); ++j) {
      averages.push_back((kept[i] + kept[j]) / 2);
      above += averages.back() > 0 ? 1 : averages.back() == 0 ? 0.5 : 0;
    }
  const double inflation = std::max(1.0, out.memory / static_cast<double>(step));
  const double middle = n * (n + 1) / 4;
  const double deviation = std::sqrt(n * (n + 1) * (2 * n + 1) / 24 * inflation);
  const double z = deviations_of(confidence, memory.freedom);
  out.difference = median_of(averages);
  out.low = at_rank(averages, middle - z * deviation);
  out.high = at_rank(averages, middle + z * deviation + 1);
  const double away = std::max(0.0, std::abs(above - middle) - 0.5) / deviation;
  out.p = std::erfc(away / std::numbers::sqrt2);
  return out;
}

}  // namespace fadeward::estimate
