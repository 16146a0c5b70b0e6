#include "fadeward/estimate/rolling_counts.hpp"

#include <algorithm>

namespace fadeward::estimate {

namespace {

std::int64_t floor_div(std::int64_t value, std::int64_t by) {
  return value >= 0 ? value / by : -((by - 1 - value) / by);
}
std::size_t slot(std::int64_t value, std::int64_t slots) {
  return static_cast<std::size_t>(value - floor_div(value, slots) * slots);
}

}  // namespace

void RollingCounts::settle() {
  slot_ = static_cast<std::int32_t>(slot(minute_, kMinutes));
  hour_slot_ = static_cast<std::int32_t>(slot(floor_div(minute_, 60), 25));
}

void RollingCounts::advance(std::int64_t minute) {
  book_pending();
  if (minute - minute_ >= kMinutes) {
    minutes_.fill({});
    hour_sum_ = {};
  } else {
    for (std::int64_t m = minute_ + 1; m <= minute; ++m) {
      Counts& bucket = minutes_[slot(m, kMinutes)];
      hour_sum_.hits -= bucket.hits;
      hour_sum_.misses -= bucket.misses;
      bucket = {};
    }
  }
  const std::int64_t old_hour = floor_div(minute_, 60), new_hour = floor_div(minute, 60);
  if (new_hour - old_hour >= 25) {
    hours_.fill({});
  } else {
    for (std::int64_t h = old_hour + 1; h <= new_hour; ++h) hours_[slot(h, 25)] = {};
  }
  minute_ = minute;
  settle();
}

void RollingCounts::add_elsewhere(std::int64_t minute, std::uint32_t hits, std::uint32_t misses) {
  if (minute > minute_) advance(minute);
  const std::int64_t hour = floor_div(minute, 60);
  if (floor_div(minute_, 60) - hour < 25) {
    hours_[slot(hour, 25)].hits += hits;
    hours_[slot(hour, 25)].misses += misses;
  }
  if (minute_ - minute >= kMinutes) return;
  minutes_[slot(minute, kMinutes)].hits += hits;
  minutes_[slot(minute, kMinutes)].misses += misses;
  hour_sum_.hits += hits;
  hour_sum_.misses += misses;
}

void RollingCounts::add_misses_between(Time from, Time to, std::uint32_t misses) {
  const std::int64_t first = minute_of(from), last = std::max(first, minute_of(to));
  if (last > minute_) advance(last);
  if (first == last || misses == 1) {
    add(misses == 1 ? from + (to - from) / 2 : to, 0, misses);
    return;
  }
  // The misses sit evenly inside the span; what lies before the day's window is dropped.
  const double span_us = static_cast<double>((to - from).count());
  const std::int64_t start_us = from.time_since_epoch().count();
  const auto before = [&](std::int64_t minute) {
    const double share = static_cast<double>(minute * 60000000 - start_us) / span_us;
    return static_cast<std::int64_t>(std::clamp(share, 0.0, 1.0) * misses + 0.5);
  };
  for (std::int64_t minute = std::max(first, last - 1500); minute <= last; ++minute) {
    const std::int64_t upto = minute == last ? std::int64_t{misses} : before(minute + 1);
    const std::int64_t count = upto - (minute == first ? 0 : before(minute));
    if (count > 0) add_elsewhere(minute, 0, static_cast<std::uint32_t>(count));
  }
}

void RollingCounts::take_back_miss(Time at) {
  book_pending();
  const std::int64_t last = std::min(minute_of(at), minute_);
  for (std::int64_t minute = last; minute > minute_ - kMinutes; --minute) {
    Counts& bucket = minutes_[slot(minute, kMinutes)];
    if (bucket.misses == 0) continue;
    --bucket.misses;
    --hour_sum_.misses;
    Counts& hour = hours_[slot(floor_div(minute, 60), 25)];
    if (hour.misses > 0) --hour.misses;
    return;
  }
}

RollingCounts::Counts RollingCounts::sum(Window window, Time now) {
  const std::int64_t minute = minute_of(now);
  if (minute > minute_) advance(minute);
  book_pending();
  if (window == Window::hour) return hour_sum_;
  Counts sum;
  const auto take = [&](const Counts& bucket) {
    sum.hits += bucket.hits;
    sum.misses += bucket.misses;
  };
  if (window == Window::five_minutes) {
    for (std::int64_t m = minute_ - 5; m <= minute_; ++m) take(minutes_[slot(m, kMinutes)]);
  } else {
    const std::int64_t hour = floor_div(minute_, 60);
    for (std::int64_t h = hour - 23; h <= hour; ++h) take(hours_[slot(h, 25)]);
  }
  return sum;
}

void RollingCounts::shift(Duration step) {
  if (minute_ == INT64_MIN / 2) return;
  book_pending();
  const std::int64_t minutes = floor_div(step.count() + 30000000, 60000000);
  const std::int64_t old_minute = minute_, old_hour = floor_div(minute_, 60);
  const std::array<Counts, kMinutes> old_minutes = minutes_;
  const std::array<Counts, 25> old_hours = hours_;
  minute_ += minutes;
  const std::int64_t hour = floor_div(minute_, 60);
  for (int i = 0; i < kMinutes; ++i) minutes_[slot(minute_ - i, kMinutes)] = old_minutes[slot(old_minute - i, kMinutes)];
  for (int i = 0; i < 25; ++i) hours_[slot(hour - i, 25)] = old_hours[slot(old_hour - i, 25)];
  settle();
}

}  // namespace fadeward::estimate
