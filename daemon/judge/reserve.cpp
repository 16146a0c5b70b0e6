#include "fadeward/judge/reserve.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace fadeward::judge {

namespace {

constexpr double kSameDb = 0.05;

/// Middle of `count` values by their weights, which sum up to `total`.
template <class Value, class Weight, std::size_t N>
Value middle(std::array<std::pair<Value, Weight>, N>& values, std::size_t count, Weight total) {
  std::sort(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(count));
  Weight below = 0;
  std::size_t at = 0;
  while (at + 1 < count && 2 * (below + values[at].second) < total) below += values[at++].second;
  return values[at].first;
}

}  // namespace

void Reserve::note(Time now, double unused_db) {
  if (!changes_.empty() &&
      std::abs(static_cast<double>(changes_.back().unused_db) - unused_db) < kSameDb)
    return;
  if (!changes_.empty() && now < changes_.back().since) return;
  if (changes_.size() == kMost) changes_.pop();
  changes_.push({now, static_cast<float>(unused_db)});
}

std::optional<double> Reserve::median_db(Time from, Time now) const {
  if (changes_.empty()) return {};
  std::array<std::pair<float, std::int64_t>, kMost> spans;  // value, microseconds
  std::size_t count = 0;
  std::int64_t total = 0;
  Time until = now;
  for (std::size_t back = 0; back < changes_.size() && until > from; ++back) {
    const Change& change = changes_[changes_.size() - 1 - back];
    const std::int64_t span = (until - std::max(change.since, from)).count();
    if (span > 0) {
      spans[count++] = {change.unused_db, span};
      total += span;
    }
    until = std::min(until, change.since);
  }
  if (count <= 1)
    return static_cast<double>(count == 1 ? spans[0].first : changes_.back().unused_db);
  return static_cast<double>(middle(spans, count, total));
}

/// The last change up to that moment; the first one that is remembered before it.
double Reserve::at_db(Time at) const {
  std::size_t first = 0, past = changes_.size();  // the answer lies in [first, past)
  while (past - first > 1) {
    const std::size_t half = first + (past - first) / 2;
    (changes_[half].since <= at ? first : past) = half;
  }
  return static_cast<double>(changes_[first].unused_db);
}

std::optional<double> Reserve::gain_db(const link::FrameWindow& window, Time now) const {
  if (changes_.empty()) return {};
  // Mostly nothing has changed within the window.
  if (window.empty() || changes_.back().since <= now - window.span(now)) return at_db(now);
  std::array<std::pair<float, std::uint32_t>, link::FrameWindow::kMost> plain, raised;
  std::size_t count = 0;
  std::uint32_t total = 0;
  window.visit([&](const link::FrameSample& sample) {
    const auto weight = std::uint32_t{sample.frames} * sample.weight;
    const float margin_db = static_cast<float>(sample.margin_cdb) / 100;
    if (count == plain.size() || weight == 0) return;
    plain[count] = {margin_db, weight};
    raised[count++] = {margin_db + static_cast<float>(at_db(window.time_of(sample))), weight};
    total += weight;
  });
  if (count == 0) return at_db(now);
  return static_cast<double>(middle(raised, count, total) - middle(plain, count, total));
}

void Reserve::shift(Duration step) {
  for (std::size_t i = 0; i < changes_.size(); ++i) changes_[i].since += step;
}

}  // namespace fadeward::judge
