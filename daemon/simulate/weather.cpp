#include "fadeward/simulate/weather.hpp"

#include <algorithm>

namespace fadeward::simulate {
namespace {
constexpr Duration kRise = std::chrono::minutes(30);

bool in_winter(Time at) {
  const std::chrono::year_month_day date = std::chrono::floor<std::chrono::days>(at);
  return date.month() == std::chrono::December || date.month() <= std::chrono::February;
}
}

std::vector<Shower> make_showers(const Climate& climate, Time start, Duration length,
                                 Random random) {
  std::vector<Shower> showers;
  if (climate.between <= Duration::zero()) return showers;
  const double mean_s = duration_to_seconds(climate.between);
  Time at = start;
  for (;;) {
    at += seconds_to_duration(random.exponential(mean_s));
    if (at >= start + length) return showers;
    const bool snow =
        climate.snow_share > 0 && in_winter(at) && random.uniform() < climate.snow_share;
    const double hours = snow ? random.uniform(12.0, 48.0) : random.uniform(2.0, 9.0);
    const Time to = at + seconds_to_duration(3600.0 * hours);
    showers.push_back({at, to, random.uniform(climate.lowest_peak_db, climate.highest_peak_db)});
    at = to;
  }
}

double Weather::loss_db(Time time) {
  while (next_ < showers_.size() && time >= showers_[next_].to) ++next_;
  if (next_ == showers_.size() || time < showers_[next_].from) return 0.0;
  const Shower& shower = showers_[next_];
  const Duration edge = std::min(time - shower.from, shower.to - time);
  if (edge >= kRise) return shower.peak_db;
  return shower.peak_db * static_cast<double>(edge.count()) / static_cast<double>(kRise.count());
}

}  // namespace fadeward::simulate
