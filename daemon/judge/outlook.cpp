#include "fadeward/judge/outlook.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace fadeward::judge {

void Outlook::add_day(std::int64_t day, double margin_db, const BaselineSettings& settings) {
  const auto last = last_day();
  if ((last && *last >= day) || !std::isfinite(margin_db)) return;
  forecast_.add_day(day + days_ahead_, margin_db);
  trend_db_per_day_ = forecast_.trend_db_per_day();

  const Time from = settings.commissioning ? Time{} : settings.from;
  const Time to = settings.commissioning ? Time{} : settings.to;
  if (from != baseline_from_ || to != baseline_to_) {  // other dates: another baseline
    baseline_.clear();
    baseline_from_ = from;
    baseline_to_ = to;
  }
  const Time noon{std::chrono::hours{24 * day + 12}};
  const bool belongs = settings.commissioning
                           ? baseline_.size() < kCommissioningDays
                           : noon >= from && noon < to && baseline_.size() < kMostBaselineDays;
  if (belongs) baseline_.push_back(static_cast<float>(margin_db));
}

void Outlook::shift(Duration step) {
  days_ahead_ -= std::chrono::round<std::chrono::days>(step).count();
}

std::optional<std::int64_t> Outlook::last_day() const {
  const auto last = forecast_.last_day();
  return last ? std::optional(*last - days_ahead_) : std::nullopt;
}

void Outlook::judge(std::optional<double> threshold_db) {
  crossing_.reset();
  if (threshold_db && forecast_.last_day()) crossing_ = forecast_.crossing(*threshold_db);
}

std::optional<double> Outlook::baseline_margin_db() const {
  if (baseline_.empty()) return {};
  std::vector<float> sorted = baseline_;
  std::sort(sorted.begin(), sorted.end());
  const std::size_t n = sorted.size();
  return (static_cast<double>(sorted[(n - 1) / 2]) + static_cast<double>(sorted[n / 2])) / 2;
}

bool Outlook::baseline_complete(const BaselineSettings& settings) const {
  if (settings.commissioning) return baseline_.size() >= kCommissioningDays;
  const auto last = last_day();
  return last && Time{std::chrono::hours{24 * *last}} >= settings.to;
}

}  // namespace fadeward::judge
