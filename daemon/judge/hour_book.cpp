#include "fadeward/judge/hour_book.hpp"

#include <algorithm>

namespace fadeward::judge {

namespace {

std::int16_t moved(std::int16_t cdb, double by_db) {
  return static_cast<std::int16_t>(std::clamp(cdb + static_cast<int>(100 * by_db), -32000, 32000));
}

}  // namespace

void HourBook::Hour::move(std::size_t stream, double by_db) {
  for (std::int16_t* each : {&raw_cdb[stream], &value_cdb[stream], &day_cdb[stream]})
    *each = moved(*each, by_db);
}

void HourBook::push(const Hour& hour) {
  if (hours_.capacity() < kHours) hours_.reserve(kHours);
  if (hours_.size() == kHours) hours_.pop();
  hours_.push(hour);
}

std::size_t HourBook::since(Time at) const {
  std::size_t count = 0;
  while (count < hours_.size() && back(count).end > at) ++count;
  return count;
}

void HourBook::learn() {
  constexpr double kSlowestLevel = 60 * 24, kFarOff = 4;
  if (hours_.size() < kDay) return;
  Hour& newest = hours_.back();
  for (std::size_t i = 0; i < kStreams; ++i) {
    const auto day_db = level_db(i, 0, kDay);
    if (!day_db) continue;
    newest.day_cdb[i] = static_cast<std::int16_t>(100 * *day_db);
    newest.day_known = static_cast<std::uint8_t>(newest.day_known | 1U << i);
    if (level_hours_[i] == 0) level_db_[i] = *day_db;
    level_hours_[i] += 1;
    learn_spread(i);
    const double limit = kFarOff * spreads_[i].sigma_db(1);
    level_db_[i] += std::clamp(*day_db - level_db_[i], -limit, limit) /
                    std::min<double>(level_hours_[i], kSlowestLevel);
    newest.level_cdb[i] = static_cast<std::int16_t>(100 * level_db_[i]);
    if (hours_.size() < 2 * kDay || !back(kDay).has_day(i)) continue;
    spreads_[i].add_step((newest.day_cdb[i] - back(kDay).day_cdb[i]) / 100.0);
  }
}

/// A day late: a drift that grows within days is seen before it counts as usual.
void HourBook::learn_spread(std::size_t stream) {
  constexpr std::size_t kLate = kDay, kQuarter = 6;
  if (hours_.size() <= kLate || !back(kLate).has_day(stream)) return;
  const Hour& then = back(kLate);
  const double level = then.level_cdb[stream] / 100.0;
  if (hours_.size() >= kLate + 2 * kQuarter) {
    const auto quarter = level_db(stream, kLate, kQuarter);
    const auto before = level_db(stream, kLate + kQuarter, kQuarter);
    if (quarter && before) spreads_[stream].add_quarters(*quarter - level, *before - level);
  }
  spreads_[stream].add_day(then.day_cdb[stream] / 100.0 - level);
}

/// Rain only lowers the common signal: there a quarter is left out below, elsewhere a quarter at
/// either end.
std::optional<double> HourBook::level_db(std::size_t stream, std::size_t first_back,
                                         std::size_t count) const {
  std::array<std::int16_t, kDay> values{};
  std::size_t n = 0;
  for (std::size_t h = first_back; h < first_back + count && n < kDay; ++h)
    if (back(h).has(stream)) values[n++] = back(h).value_cdb[stream];
  if (n * 2 < count) return {};
  const std::size_t low = n / 4;
  const std::size_t high = stream == static_cast<std::size_t>(Stream::common) ? n : n - low;
  std::sort(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(n));
  double sum = 0;
  for (std::size_t k = low; k < high; ++k) sum += values[k];
  return sum / static_cast<double>(high - low) / 100.0;
}

std::optional<double> HourBook::mean_of_days_db(std::size_t stream, std::size_t first_back,
                                                std::size_t days) const {
  double sum = 0;
  std::size_t known = 0;
  for (std::size_t day = 0; day < days; ++day) {
    const Hour& hour = back(first_back + day * kDay);
    if (!hour.has_day(stream)) continue;
    sum += hour.day_cdb[stream] / 100.0;
    ++known;
  }
  if (known * 2 < days || known == 0) return {};
  return sum / static_cast<double>(known);
}

void HourBook::accept(std::size_t stream, double by_db) {
  level_db_[stream] += by_db;
  for (std::size_t h = 0; h < hours_.size(); ++h) {
    hours_[h].move(stream, by_db);
    hours_[h].level_cdb[stream] = moved(hours_[h].level_cdb[stream], by_db);
  }
}

void HourBook::forget(std::size_t stream) {
  const auto others = static_cast<std::uint8_t>(~(1U << stream));
  for (std::size_t h = 0; h < hours_.size(); ++h) {
    hours_[h].known &= others;
    hours_[h].day_known &= others;
  }
  level_hours_[stream] = 0;
}

void HourBook::rebase(const Changes& now) {
  for (std::size_t i = 0; i < kStreams; ++i)
    if (now.known[i]) level_db_[i] += now.by_db[i];
  hours_.clear();
}

void HourBook::shift(Duration step) {
  for (std::size_t h = 0; h < hours_.size(); ++h) hours_[h].end += step;
}

}  // namespace fadeward::judge
